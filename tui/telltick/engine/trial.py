"""The coin trial of a session: from the journalled draws and the audio to the odds against chance.

Live view and offline measuring follow the same steps over the same cycles, so that the journal repeats what
the screen showed.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from telltick.engine.draws import DrawLedger, Leg
from telltick.engine.exclusions import Exclusions
from telltick.engine.gates import MARGIN_S, gate_near
from telltick.measure.cells import Cells, power_cells
from telltick.measure.latency import find_latency
from telltick.measure.trial import (
    LAG_RANGE_S,
    UNCOUNTED,
    Draws,
    LatencyMixture,
    cycles_that_count,
    lags_to_try,
    poll_shape,
    shape_fill,
    slot_contrasts,
    slot_levels,
    trial_difference,
)
from telltick.model.clock import NS, Floats
from telltick.model.readings import TrialReading
from telltick.model.trial import FACTOR, TrialSlot
from telltick.store.session import SessionReader

BEFORE_S = 60.0  # audio before a leg in which the latency is looked for
CHUNK_S = 60.0
FEW_LAGS = 5  # latencies that cost little to try
SURE_SHARE = 0.9  # of the odds: the latency that holds it is told as the one
TAMPERED = (
    "The draws in the journal do not repeat from the seed: they were altered or are damaged, "
    "and this trial proves nothing."
)


@dataclass
class _Part:
    """One leg in one capture run, and what has been worked out of it.

    Attributes:
        run: number of the capture run.
        shape: when bytes flow in a typical poll.
        fill: share of that time in which they do.
        mixture: the odds.
        known: the latency was settled on other data.
        done: cycles looked at so far.
        cells: power cells up to now, the last seconds of them.
        path: log odds after each cycle that counts.
        path_ns: session time at which each of these cycles ended.
        contrasts: for each lag, drawn slot against the others.
    """

    run: int
    shape: Floats
    fill: float
    mixture: LatencyMixture
    known: bool
    done: int = 0
    cells: Cells | None = None
    path: list[Floats] = field(default_factory=list)
    path_ns: list[Floats] = field(default_factory=list)
    contrasts: list[Floats] = field(default_factory=list)

    @property
    def lag_s(self) -> float | None:
        """The latency, when it is known or has come out clearly."""
        best, share = self.mixture.best
        return float(self.mixture.lags_s[best]) if self.known or share >= SURE_SHARE else None


class TrialFollower:
    """Follows a session's coin trial to a moment."""

    def __init__(self, reader: SessionReader) -> None:
        self._reader = reader
        self._rate_hz = reader.facts.rate_hz
        self._exclusions = Exclusions(reader)
        self._begun_ns: set[int] = set()  # where parts began, also those that were begun anew since
        self._restart()

    @property
    def bursts_wanted_ns(self) -> list[tuple[int, int]]:
        """Stretches of session time whose bursts are wanted again when the trial is worked out anew."""
        first: dict[int, int] = {}
        for one in self._reader.trial_slots:
            first.setdefault(one.leg, one.cycle_ns)
        before_ns, after_ns = round((BEFORE_S + 2 * MARGIN_S) * NS), round(2 * MARGIN_S * NS)
        return [(at_ns - before_ns, at_ns + after_ns) for at_ns in sorted({*first.values(), *self._begun_ns})]

    def _restart(self) -> None:
        self._ledger = DrawLedger(self._reader.facts.seed)
        self._parts: dict[tuple[int, int], _Part] = {}
        self._cycles_seen: dict[int, int] = {}
        self._exclusions.forget()
        self._latest: tuple[int, TrialReading | None] = (0, None)  # known until, reading

    def read(self, known_until: int, now_ns: int | None = None) -> TrialReading | None:
        """The trial up to a sample before which every burst is known; None when there is none yet.

        Asked often, it answers with what it found up to a few seconds ago.

        Args:
            known_until: that sample.
            now_ns: session time shown, in replay; None takes all that is in the journal.
        """
        now_ns = self._reader.end_ns if now_ns is None else now_ns
        read_to, reading = self._latest
        if known_until < read_to or self._exclusions.changed():
            self._restart()
        elif reading is not None and known_until - read_to < self._patience(known_until):
            return replace(reading, running=self._running(now_ns))
        drawn = self._reader.trial_slots
        drawn = drawn[: bisect_right(drawn, now_ns, key=lambda one: one.cycle_ns)]
        if not drawn or not self._reader.anchors:
            return None
        self._ledger.follow(drawn, self._reader.end_ns)
        if self._ledger.sound:
            legs = self._ledger.legs
            for leg, following in zip(legs, [*legs[1:], None], strict=True):
                self._follow(leg, following, known_until)
        self._latest = known_until, self._reading(drawn[-1], now_ns)
        return self._latest[1]

    def _patience(self, known_until: int) -> int:
        """Samples from one reading to the next while the moment goes on; trying every latency is costly."""
        if self._reader.ending is not None and known_until >= self._reader.audio.samples:
            return 1
        few = all(len(part.mixture.lags_s) <= FEW_LAGS for part in self._parts.values())
        return self._rate_hz if few else 4 * self._rate_hz

    # ---- cycles

    def _follow(self, leg: Leg, following: Leg | None, known_until: int) -> None:
        """Bet on the cycles of a leg that have become known."""
        count = leg.polled[-1] + 2  # the cycle after the last poll counts, whether it got one or not
        begin_ns = leg.origin_ns + leg.cycle_ns * np.arange(count)
        end_ns = begin_ns + leg.cycle_ns
        clock = self._reader.clock
        begin, end = clock.sample_at(begin_ns), clock.sample_at(end_ns)
        run = self._run_of(begin)
        heard = np.isfinite(begin) & np.isfinite(end) & (run == self._run_of(end))
        left_out = ~heard | self._exclusions.hands_on(begin_ns, end_ns)
        over = end_ns <= min(self._exclusions.end_of_leg(leg, following), self._exclusions.open_mark_ns())
        known = over & (np.nan_to_num(end, nan=0.0) <= known_until)
        if known.any():
            self._exclusions.judge(int(end_ns[known].max()))
        slot = np.where(cycles_that_count(leg.has_poll(count)), leg.slots(count), UNCOUNTED)
        for number in np.unique(run[known & ~left_out]).tolist():
            use = known & ~left_out & (run == number)
            slot_s = leg.first.slot_ns / NS
            self._bet(leg, number, Draws(begin[use] / self._rate_hz, slot[use], leg.first.slots, slot_s))
        self._cycles_seen[leg.first.leg] = int(np.count_nonzero(known))

    def _bet(self, leg: Leg, run: int, draws: Draws) -> None:
        """Bet on the cycles of a leg in one run that lie beyond those bet on before."""
        part = self._parts.get((leg.first.leg, run))
        if part is None:
            part = self._parts[leg.first.leg, run] = self._begin(leg, run, float(draws.start_s[0]))
        while part.done < len(draws.slot):
            until_s = float(draws.start_s[part.done]) + CHUNK_S
            chunk = slice(part.done, int(np.searchsorted(draws.start_s, until_s)))
            some = Draws(draws.start_s[chunk], draws.slot[chunk], draws.slots, draws.slot_s)
            if not self._bet_on(part, some):
                return

    def _bet_on(self, part: _Part, draws: Draws) -> bool:
        """Bet on a chunk; False when its audio has not come in yet."""
        cells = self._cells_for(part, draws)
        if cells is None:
            return False
        levels = np.stack([slot_levels(cells, draws, part.shape, lag) for lag in part.mixture.lags_s])
        covered = np.asarray(np.isfinite(levels).all(axis=(0, 2)), dtype=bool)
        missing = np.flatnonzero(~covered & (draws.start_s > cells.first / 1000 + 1))
        ready = slice(0, int(missing[0]) if len(missing) else len(covered))
        use = np.flatnonzero(covered[ready])
        path = part.mixture.add(levels[:, use], draws.slot[use])
        counts = draws.slot[use] != UNCOUNTED
        part.path.append(path[counts])
        end_s = draws.start_s[use[counts]] + draws.slots * draws.slot_s
        part.path_ns.append(self._reader.clock.t_at(end_s * self._rate_hz).astype(np.float64))
        part.contrasts.append(slot_contrasts(levels[:, use[counts]], draws.slot[use[counts]]))
        part.done += ready.stop
        return ready.stop == len(covered)

    def _cells_for(self, part: _Part, draws: Draws) -> Cells | None:
        """Power cells from before the first of some cycles to as far as the audio and the chunk reach."""
        begin_s, end_s = self._run_span_s(part.run)
        from_s = max(begin_s, float(draws.start_s[0]) + min(LAG_RANGE_S[0], 0.0) - 1.0)
        to_s = float(draws.start_s[-1]) + draws.slots * draws.slot_s + LAG_RANGE_S[1] + 1.5
        to_s = min(to_s, end_s)
        before = part.cells
        if before is not None and before.resume_s >= to_s - 0.2:
            return before
        if before is not None:
            drop = min(max(0, int(from_s * 1000) - before.first), len(before.power))
            before = Cells(before.first + drop, before.power[drop:], before.resume_s)
        new = self._cells_of(before.resume_s if before is not None else from_s, to_s)
        part.cells = new if before is None else Cells.join([before, new])
        return part.cells if len(part.cells.power) else None

    def _cells_of(self, from_s: float, to_s: float) -> Cells:
        first, end = int(from_s * self._rate_hz), int(to_s * self._rate_hz)
        return power_cells(self._reader.audio.read(first, max(0, end - first)), first, self._rate_hz)

    # ---- what is settled on other data

    def _begin(self, leg: Leg, run: int, start_s: float) -> _Part:
        """Settle latency and poll shape on the audio and polls of the run before these cycles."""
        self._begun_ns.add(int(self._reader.clock.t_at([start_s * self._rate_hz])[0]))
        begin_s = max(self._run_span_s(run)[0], start_s - BEFORE_S)
        polls = gate_near(self._reader, start_s - BEFORE_S, start_s).between(-np.inf, start_s)
        shape = poll_shape(polls) if polls.polls else np.array([[0.0, leg.first.slot_ns / NS]])
        fill = shape_fill(polls, shape) if polls.polls else 1.0
        cells = self._cells_of(begin_s, start_s)
        found = find_latency(cells.power, cells.first, gate_near(self._reader, begin_s, start_s))
        if found is not None:
            lags = found.seconds.value + (found.modulo_s or 0.0) * np.arange(-20, 21, dtype=np.float64)
            inside = (lags >= LAG_RANGE_S[0]) & (lags <= LAG_RANGE_S[1])
            lags = lags[inside] if found.modulo_s and inside.any() else np.array([found.seconds.value])
            return _Part(run, shape, fill, LatencyMixture(lags), known=len(lags) == 1)
        lags = lags_to_try(shape)
        shares = np.full(len(lags), 1 / len(lags), dtype=np.float64)
        earlier = [part.lag_s for part in self._parts.values() if part.lag_s is not None]
        if earlier:  # after a gap the latency may have stayed as it was
            lags = np.concatenate([lags, [earlier[-1]]])
            shares = np.concatenate([shares / 2, [0.5]])
        return _Part(run, shape, fill, LatencyMixture(lags, shares), known=False)

    # ---- runs of audio

    def _run_of(self, sample: Floats) -> npt.NDArray[np.int64]:
        firsts = [first for first, _ in self._reader.clock.runs]
        return np.asarray(np.searchsorted(firsts, np.nan_to_num(sample, nan=0.0), side="right") - 1)

    def _run_span_s(self, run: int) -> tuple[float, float]:
        first, end = self._reader.clock.runs[run]
        return first / self._rate_hz, min(end, self._reader.audio.samples) / self._rate_hz

    # ---- the reading

    def _reading(self, newest: TrialSlot, now_ns: int) -> TrialReading:
        if not self._ledger.sound:
            return self._summed(newest, now_ns, {}, [TAMPERED])
        return self._summed(newest, now_ns, self._parts, [])

    def _summed(
        self, newest: TrialSlot, now_ns: int, parts: dict[tuple[int, int], _Part], said: list[str]
    ) -> TrialReading:
        """The odds of all parts together: their product, since each starts anew at one to one."""
        path, path_ns, contrasts, lags = [np.zeros(1)], [np.zeros(0)], [np.zeros(0)], []
        fill = float(np.mean([part.fill for part in parts.values()])) if parts else 1.0
        for part in parts.values():
            path += [path[-1][-1] + piece for piece in [np.concatenate(part.path)] if len(piece)]
            path_ns += part.path_ns
            lags.append(part.lag_s)
            if part.lag_s is not None and part.contrasts:
                contrasts.append(np.concatenate(part.contrasts, axis=1)[part.mixture.best[0]])
        log10_e = np.concatenate(path)[1:] / np.log(10)
        clear = [lag for lag in lags if lag is not None]
        if parts and not clear:
            said.append("No latency stands out yet: every latency is tried, and the odds pay for it.")
        difference = trial_difference(np.concatenate(contrasts), fill)
        if difference is None and parts:
            said.append("There are too few cycles, at a latency that is clear, for a difference in level.")
        return TrialReading(
            running=self._running(now_ns),
            cycles=len(log10_e),
            left_out=max(0, sum(self._cycles_seen.values()) - len(log10_e)),
            slots=newest.slots,
            slot_s=newest.slot_ns / NS,
            seed=self._reader.facts.seed,
            log10_e=float(log10_e[-1]) if len(log10_e) else 0.0,
            highest_log10_e=max(0.0, float(log10_e.max(initial=0.0))),
            difference_db=difference,
            latency_s=clear[-1] if clear else None,
            path_log10_e=log10_e,
            path_ns=np.concatenate(path_ns),
            warnings=tuple(said),
        )

    def _running(self, now_ns: int) -> bool:
        marks = self._reader.marks
        said = [mark.value for mark in marks if mark.factor == FACTOR and mark.t_ns <= now_ns]
        ending = self._reader.ending
        return (ending is None or now_ns < ending.t_ns) and bool(said) and said[-1] == "on"
