"""The bench's parts put together from a few plain choices; the live and the offline bench share them."""

from __future__ import annotations

import numpy as np

from telltick.model.clock import NS
from telltick.model.errors import BadInputError
from telltick.model.framing import Framing
from telltick.model.plan import PollPlan
from telltick.model.traffic import Burst
from telltick.sources.bench.emissions import ComputerNoise, computer_pieces, emitted, joined
from telltick.sources.bench.line_log import EdgeLog, LineLog
from telltick.sources.bench.paths import COUPLINGS, Coupling, Source
from telltick.sources.bench.radio import END, REQUEST_FOR_ANOTHER, STATUS_REQUEST, Radio
from telltick.sources.bench.receiver import Edges, Receiver, amplitude
from telltick.sources.bench.state import BenchState

LATENCY_S = 0.063
I_OVER_N_DB = 5.5  # 6.6 dB of excess with everything at its default
STANDARD_BAUD = 9600
STANDARD_POLLS_PER_S = 20
SLOW_TURNAROUND_S = (0.014, 0.022)  # of a radio that is heard at work


def bench_plan(port: str) -> PollPlan:
    """The bench's poll plan: its own made-up status request, five times a second."""
    return PollPlan(
        port=port,
        frame_text=STATUS_REQUEST.decode(),
        unanswered_text=REQUEST_FOR_ANOTHER.decode(),
        reply_terminator=END.hex(),
    )


def make_receiver(seed: int, rate_hz: int, path: str, i_over_n_db: float) -> Receiver:
    """A receiver that hears the standard poll at 9600 baud with a known I/N, everything at its default.

    Args:
        seed: of its noise.
        rate_hz: sample rate.
        path: the way in, a key of `COUPLINGS`.
        i_over_n_db: interference over noise while bytes flow; of the computer's own noise, while it lasts.

    Raises:
        BadInputError: there is no such path.
    """
    coupling = coupling_of(path)
    unit = Receiver(0, rate_hz, Coupling())
    wanted = amplitude(10 ** ((unit.noise_dbfs(BenchState()) + i_over_n_db) / 10))
    source = coupling.source if coupling is not None else Source.LINE
    return Receiver(seed, rate_hz, coupling, wanted / _standard_hash(unit, source))


def make_radio(seed: int, framing: Framing, path: str) -> Radio:
    """The radio; one whose work on requests is heard takes its time over them.

    Raises:
        BadInputError: there is no such path.
    """
    coupling = coupling_of(path)
    slow = coupling is not None and coupling.source is Source.HANDLING
    return Radio(seed, framing, SLOW_TURNAROUND_S) if slow else Radio(seed, framing)


def make_log(seed: int, framing: Framing, path: str) -> EdgeLog:
    """What the receiver hears of the traffic, or of the computer.

    Raises:
        BadInputError: there is no such path.
    """
    coupling = coupling_of(path)
    source = coupling.source if coupling is not None else Source.LINE
    return ComputerNoise(seed) if source is Source.COMPUTER else LineLog(framing, source)


def coupling_of(path: str) -> Coupling | None:
    """The way in by its name; None for a receiver that hears nothing but noise.

    Raises:
        BadInputError: there is no such path.
    """
    if path not in COUPLINGS:
        raise BadInputError(f"the bench has no path {path!r}: choose one of {', '.join(COUPLINGS)}")
    return COUPLINGS[path]


def _standard_hash(receiver: Receiver, source: Source) -> float:
    """R.m.s. value, while bytes flow, of what a receiver hears of standard polls."""
    framing = Framing()
    radio = Radio(0, framing, SLOW_TURNAROUND_S) if source is Source.HANDLING else Radio(0, framing)
    size = receiver.rate_hz // STANDARD_POLLS_PER_S
    times_ns = range(0, NS, NS // STANDARD_POLLS_PER_S)
    bursts = [burst for t_ns in times_ns for burst in radio.hear(t_ns, STATUS_REQUEST, STANDARD_BAUD)]
    pieces = computer_pieces(0, 0, 1) if source is Source.COMPUTER else emitted(bursts, framing, source)
    at_s, step = joined(pieces)
    edges = Edges(at_s * receiver.rate_hz, step)
    blocks = [receiver.render_parts(k * size, size, edges, BenchState()) for k in range(len(times_ns) + 1)]
    energy = sum(float(np.sum(block.interference**2)) for block in blocks)
    on_s = _on_s(bursts) if source is not Source.COMPUTER else sum(at[-1] - at[0] for at, _ in pieces)
    return float(np.sqrt(energy / (on_s * receiver.rate_hz)))


def _on_s(bursts: list[Burst]) -> float:
    return sum(burst.end_ns - burst.start_ns for burst in bursts) / NS
