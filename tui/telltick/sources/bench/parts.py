"""The bench's parts put together from a few plain choices; the live and the offline bench share them."""

from __future__ import annotations

import numpy as np

from telltick.model.clock import NS
from telltick.model.errors import BadInputError
from telltick.model.framing import Framing
from telltick.model.plan import PollPlan
from telltick.sources.bench.line_log import joined_edges
from telltick.sources.bench.paths import COUPLINGS, Coupling
from telltick.sources.bench.radio import END, STATUS_REQUEST, Radio
from telltick.sources.bench.receiver import Edges, Receiver, amplitude
from telltick.sources.bench.state import BenchState

LATENCY_S = 0.063
I_OVER_N_DB = 5.5  # 6.6 dB of excess with everything at its default
STANDARD_BAUD = 9600
STANDARD_POLLS_PER_S = 20


def bench_plan(port: str) -> PollPlan:
    """The bench's poll plan: its own made-up status request, five times a second."""
    return PollPlan(port=port, frame_text=STATUS_REQUEST.decode(), reply_terminator=END.hex())


def make_receiver(seed: int, rate_hz: int, path: str, i_over_n_db: float) -> Receiver:
    """A receiver that hears the standard poll at 9600 baud with a known I/N, everything at its default.

    Args:
        seed: of its noise.
        rate_hz: sample rate.
        path: the way in, a key of `COUPLINGS`.
        i_over_n_db: interference over noise while bytes flow.

    Raises:
        BadInputError: there is no such path.
    """
    if path not in COUPLINGS:
        raise BadInputError(f"the bench has no path {path!r}: choose one of {', '.join(COUPLINGS)}")
    unit = Receiver(0, rate_hz, Coupling())
    wanted = amplitude(10 ** ((unit.noise_dbfs(BenchState()) + i_over_n_db) / 10))
    return Receiver(seed, rate_hz, COUPLINGS[path], wanted / _standard_hash(unit))


def _standard_hash(receiver: Receiver) -> float:
    """R.m.s. value, while bytes flow, of what a receiver hears of standard polls."""
    radio, framing = Radio(0, Framing()), Framing()
    size = receiver.rate_hz // STANDARD_POLLS_PER_S
    times_ns = range(0, NS, NS // STANDARD_POLLS_PER_S)
    bursts = [burst for t_ns in times_ns for burst in radio.hear(t_ns, STATUS_REQUEST, STANDARD_BAUD)]
    at_s, step = joined_edges(bursts, framing)
    edges = Edges(at_s * receiver.rate_hz, step)
    blocks = [receiver.render_parts(k * size, size, edges, BenchState()) for k in range(len(times_ns) + 1)]
    energy = sum(float(np.sum(block.interference**2)) for block in blocks)
    on_s = sum(burst.end_ns - burst.start_ns for burst in bursts) / NS
    return float(np.sqrt(energy / (on_s * receiver.rate_hz)))
