"""A whole session of the simulated bench at once, much faster than real time, with the truth beside it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from telltick.model.clock import NS, Floats
from telltick.model.plan import PollPlan
from telltick.model.traffic import Burst, Poll
from telltick.model.trial import TrialSlot
from telltick.sources.bench.emissions import computer_pieces, emitted, joined
from telltick.sources.bench.parts import (
    I_OVER_N_DB,
    LATENCY_S,
    bench_plan,
    coupling_of,
    make_radio,
    make_receiver,
)
from telltick.sources.bench.paths import Source
from telltick.sources.bench.receiver import Edges, Receiver, to_int16
from telltick.sources.bench.script import Change, ScriptedPolling, state_at

BLOCK_S = 0.1


@dataclass(frozen=True, slots=True)
class TrueStep:
    """What is true between two changes.

    Attributes:
        start_s: session time at which it starts.
        end_s: session time at which it ends.
        noise_dbfs: noise floor; what the computer makes whether it polls or not belongs to it.
        interference_dbfs: mean power of the interference while bytes flow; -inf without any.
    """

    start_s: float
    end_s: float
    noise_dbfs: float
    interference_dbfs: float

    @property
    def i_over_n_db(self) -> float:
        """Interference over noise while bytes flow."""
        return self.interference_dbfs - self.noise_dbfs

    @property
    def excess_db(self) -> float:
        """Interference above the noise floor, 10 log10((I + N) / N)."""
        return float(10 * np.log10(1 + 10 ** (self.i_over_n_db / 10)))


@dataclass(frozen=True)
class RenderedSession:
    """A session as the bench would have made it.

    Attributes:
        audio: shape (n,); sample 0 is heard at session time 0.
        rate_hz: its sample rate.
        bursts: the bytes with the exact times of their bits, in session time.
        polls: every poll.
        latency_s: from the serial line to the audio.
        truth: what is true of each stretch between changes.
        drawn: the draws of coin trials.
    """

    audio: npt.NDArray[np.int16]
    rate_hz: int
    bursts: tuple[Burst, ...]
    polls: tuple[Poll, ...]
    latency_s: float
    truth: tuple[TrueStep, ...]
    drawn: tuple[TrialSlot, ...] = ()


def render_session_audio(
    seed: int,
    seconds: float,
    plan: PollPlan | None = None,
    changes: Sequence[Change] = (),
    *,
    rate_hz: int = 48_000,
    path: str = "cable",
    i_over_n_db: float = I_OVER_N_DB,
    latency_s: float = LATENCY_S,
) -> RenderedSession:
    """Render a session of the bench from the same radio, schedule and receiver as the live one.

    Args:
        seed: of everything random.
        seconds: length.
        plan: how the radio is polled; None takes the bench's own plan.
        changes: what is done during the session, any order.
        rate_hz: audio sample rate.
        path: the true way in.
        i_over_n_db: interference over noise while bytes flow, with everything at its default.
        latency_s: from the serial line to the audio.

    Raises:
        BadInputError: there is no such path.
    """
    plan = plan or bench_plan("simulated")
    changes = sorted(changes, key=lambda change: change.t_s)
    coupling = coupling_of(path)
    source = coupling.source if coupling is not None else Source.LINE
    polling = ScriptedPolling(seed, plan, make_radio(seed, plan.line, path))
    polling.run(seconds, changes)
    pieces = emitted(polling.bursts, plan.line, source)
    if source is Source.COMPUTER:
        pieces = computer_pieces(seed, 0, int(np.ceil(seconds)))
    receiver = make_receiver(seed + 1, rate_hz, path, i_over_n_db)
    rendering = _Rendering(receiver, seconds, changes, latency_s, tied=source is not Source.COMPUTER)
    rendering.run(*joined(pieces))
    return RenderedSession(
        rendering.audio,
        rate_hz,
        tuple(polling.bursts),
        tuple(polling.polls),
        latency_s,
        tuple(rendering.truth(polling.bursts)),
        tuple(polling.drawn),
    )


class _Rendering:
    """The receiver's audio and the power of the interference in it, sample by sample."""

    def __init__(
        self, receiver: Receiver, seconds: float, changes: Sequence[Change], latency_s: float, *, tied: bool
    ) -> None:
        self._receiver = receiver
        self._tied = tied
        self._seconds = seconds
        self._changes = changes
        self._rate_hz = receiver.rate_hz
        # What happens at session time t is heard from t + latency - delay on, loudest at t + latency.
        self._onset_s = latency_s - receiver.delay / receiver.rate_hz
        total = round(seconds * receiver.rate_hz)
        self.audio = np.zeros(total, dtype=np.int16)
        self._hash_power: Floats = np.zeros(total)

    def run(self, at_s: Floats, step: Floats) -> None:
        edges = Edges((at_s + self._onset_s) * self._rate_hz, step)
        for first, end in pairwise(self._block_borders()):
            state = state_at(first / self._rate_hz - self._onset_s + 1e-6, self._changes)
            parts = self._receiver.render_parts(first, end - first, edges, state)
            self.audio[first:end] = to_int16(parts)
            self._hash_power[first:end] = 2 * parts.interference**2  # relative to a full-scale sine's power

    def _block_borders(self) -> list[int]:
        """Blocks of one length, cut where the bench changes."""
        total = len(self.audio)
        cuts = {round((change.t_s + self._onset_s) * self._rate_hz) for change in self._changes}
        steady = range(0, total, round(BLOCK_S * self._rate_hz))
        return sorted({*steady, total, *(cut for cut in cuts if 0 < cut < total)})

    def truth(self, bursts: Sequence[Burst]) -> Iterator[TrueStep]:
        inside = {change.t_s for change in self._changes if 0 < change.t_s < self._seconds}
        for start_s, end_s in pairwise(sorted({0.0, self._seconds, *inside})):
            first, end = (round((t_s + self._onset_s) * self._rate_hz) for t_s in (start_s, end_s))
            on_s = sum(b.end_ns - b.start_ns for b in bursts if start_s <= b.start_ns / NS < end_s) / NS
            energy = float(np.sum(self._hash_power[first:end]))
            noise_dbfs = self._receiver.noise_dbfs(state_at(start_s, self._changes))
            if not self._tied:
                always = energy / max(end - first, 1)
                noise_dbfs, on_s = float(10 * np.log10(10 ** (noise_dbfs / 10) + always)), 0.0
            level_dbfs = 10 * np.log10(energy / (on_s * self._rate_hz)) if energy and on_s else -np.inf
            yield TrueStep(start_s, end_s, noise_dbfs, float(level_dbfs))
