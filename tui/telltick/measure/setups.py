"""Setups: steps with one setup pooled, also when they are apart in time; and does the bench come back to it?

A bench may drift by itself: a band opens, a lead moves, a radio warms up. Steps of one setup tell: what they
differ by beyond chance is drift, and it belongs into the error of every other difference too. Its variance is
found as between the studies of a survey (DerSimonian and Laird, Control. Clin. Trials 7, 1986) over all
setups that were come back to. What such an estimate knows is little: its error goes by the scatter of those
steps and by their number alone (Hartung and Knapp, Stat. Med. 20, 2001), and an interval is never narrower
than without drift. One return alone would make everything uncertain by a factor of thirteen; its scatter is
weighed with the steps' own errors as if those were one more return (as with few replicates in Smyth, Stat.
Appl. Genet. Mol. Biol. 3, 2004). ``python -m tests.benchmarks.drift`` tells how often the intervals hold.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from telltick.measure.equivalence import Mean, p_unequal
from telltick.measure.reading import reading_of, take_reading
from telltick.measure.rows import PollRows
from telltick.measure.sides import LN_TO_DB, Side, in_db, measure_side, unaligned
from telltick.measure.stretches import Stretch, joined_stretches, stretch_of
from telltick.measure.tones import band_bins, tonal_bins
from telltick.measure.verdict import as_control
from telltick.measure.vocabulary import bench_of
from telltick.model.answers import SetupReading
from telltick.model.measurement import StepReading
from telltick.model.readings import Band, Estimate, Latency, Reading

TARGET_DB = 0.5
DRIFT_LEVEL = 0.01  # chance of calling a steady bench drifting
_MOST_MASKED = 0.5


@dataclass(frozen=True)
class Drift:
    """How far the bench wanders by itself from step to step, as standard deviations in dB.

    Attributes:
        noise_db: of N.
        interference_db: of I.
        excess_db: of the excess.
        dof: degrees of freedom of each: returns to a setup; 0 where none was come back to.
        scale: of each, variance found over variance expected with this drift; below 1 where steps scatter
            less than their errors let expect.
    """

    noise_db: float = 0.0
    interference_db: float = 0.0
    excess_db: float = 0.0
    dof: tuple[int, int, int] = (0, 0, 0)
    scale: tuple[float, float, float] = (1.0, 1.0, 1.0)


@dataclass(frozen=True)
class Setup:
    """A setup and what was measured of it.

    Attributes:
        bench: factor -> value, tidied, without what does not describe the bench.
        said: factor -> value as the operator put it, of its first step.
        steps: indices of its steps.
        side: over all of them.
        each: of each step.
        reading: over all of them.
    """

    bench: dict[str, str]
    said: dict[str, str]
    steps: tuple[int, ...]
    side: Side
    each: tuple[Side, ...]
    reading: Reading


def pooled_setups(
    steps: Sequence[StepReading],
    rows: Sequence[PollRows | None],
    latency: Latency | None,
    known: Sequence[Stretch | None] | None = None,
) -> tuple[tuple[Setup, ...], Drift]:
    """Steps by setup, in the order in which the setups first came, and the drift between their steps.

    Args:
        steps: in order of time.
        rows: those of each step; None where there are none, or where they were let go of.
        latency: the latency of the session; None when none stands out.
        known: what was measured of each step already, from rows of a band.
    """
    known = known or [None] * len(steps)
    groups: dict[tuple[tuple[str, str], ...], list[int]] = {}
    for index, one in enumerate(steps):
        groups.setdefault(tuple(sorted(bench_of(one.step.setup).items())), []).append(index)
    use = common_bins([part for part in rows if part is not None and len(part.poll)])
    setups = []
    for group in groups.values():
        parts = [_Part(rows[i], known[i]) for i in group if _has_rows(rows[i]) or known[i] is not None]
        setups.append(_pooled([steps[i] for i in group], parts, latency, use))
    return tuple(setups), drift_of(setups)


def common_bins(parts: Sequence[PollRows]) -> npt.NDArray[np.bool_]:
    """Shape (bins,), True for bins of the band that hold no steady tone in any step.

    Where that would leave less than half of the band, only tones that are there throughout are left out.
    """
    if not parts:
        return np.zeros(0, dtype=bool)
    band = Band()
    inside = band_bins(parts[0], band)
    tonal = inside & np.any([tonal_bins(part, band) for part in parts], axis=0)
    if tonal.sum() > _MOST_MASKED * inside.sum():
        tonal = tonal_bins(PollRows.join(parts), band)
    return np.asarray(inside & ~tonal)


def setup_readings(setups: Sequence[Setup], drift: Drift) -> tuple[SetupReading, ...]:
    """The setups as they are shown."""
    returned = sum(len(one.each) > 1 for one in setups)
    out = []
    for one in setups:
        widest, p_value = _widest_drift(one.each)
        drifted = p_value * max(returned, 1) < DRIFT_LEVEL
        reading = _widened(one, drift) if drifted else one.reading
        out.append(SetupReading(one.said, one.steps, reading, widest, drifted, more_seconds(reading)))
    return tuple(out)


def more_seconds(reading: Reading, target_db: float = TARGET_DB) -> float | None:
    """Seconds still needed until the excess is known to within `target_db` either way; None if unknown."""
    if reading.excess_db is None or reading.seconds <= 0:
        return None
    half = (reading.excess_db.high - reading.excess_db.low) / 2
    return float(max(0.0, reading.seconds * ((half / target_db) ** 2 - 1)))


@dataclass(frozen=True)
class _Part:
    """A step's rows, and what was measured of it already; one of them may be missing."""

    rows: PollRows | None
    known: Stretch | None

    def side(self, use: npt.NDArray[np.bool_], *, aligned: bool) -> Side:
        if self.known is not None:
            return self.known.side if aligned else unaligned(self.known.side)
        assert self.rows is not None
        return measure_side(self.rows, use, aligned=aligned)


def _has_rows(rows: PollRows | None) -> bool:
    return rows is not None and len(rows.poll) > 0


def _pooled(
    steps: Sequence[StepReading],
    parts: Sequence[_Part],
    latency: Latency | None,
    use: npt.NDArray[np.bool_],
) -> Setup:
    each = tuple(part.side(use, aligned=latency is not None) for part in parts)
    first = steps[0]
    numbers = tuple(one.step.index for one in steps)
    bench, said = bench_of(first.step.setup), dict(first.step.setup)
    if not parts:
        return Setup(bench, said, numbers, Side(0, 0.0, None, None, None), (), first.reading)
    side, reading = _together(parts, latency, use) if len(parts) > 1 else (each[0], None)
    if len(steps) == 1:
        reading = first.reading
    elif reading is None:
        reading = _read(parts[0], latency)
    return Setup(bench, said, numbers, side, each, reading if len(steps) == 1 else as_control(reading, said))


def _read(part: _Part, latency: Latency | None) -> Reading:
    if part.known is not None:
        return reading_of(part.known.account, latency)
    assert part.rows is not None
    return take_reading(part.rows, latency=latency)


def _together(
    parts: Sequence[_Part], latency: Latency | None, use: npt.NDArray[np.bool_]
) -> tuple[Side, Reading]:
    """Side and reading of several steps: of all their rows, or joined where some of these are gone."""
    aligned = latency is not None
    rows = [part.rows for part in parts if part.rows is not None]
    if len(rows) == len(parts):
        joined = PollRows.join(rows)
        if joined.summed is None:
            return measure_side(joined, use, aligned=aligned), take_reading(joined, latency=latency)
        whole = stretch_of(joined, latency)
    else:
        whole = joined_stretches([part.known for part in parts if part.known is not None])
    return whole.side if aligned else unaligned(whole.side), reading_of(whole.account, latency)


def drift_of(setups: Sequence[Setup]) -> Drift:
    """Drift between steps of one setup, over all setups that were come back to."""
    quantities = [
        [[in_db(s.noise) for s in one.each if s.noise is not None] for one in setups],
        [
            [in_db(s.interference) for s in one.each if s.heard and s.interference is not None]
            for one in setups
        ],
        [[s.excess_db for s in one.each if s.excess_db is not None] for one in setups],
    ]
    (noise, n_dof, n_scale), (power, i_dof, i_scale), (excess, e_dof, e_scale) = map(_between, quantities)
    return Drift(noise, power, excess, (n_dof, i_dof, e_dof), (n_scale, i_scale, e_scale))


def _between(groups: Sequence[Sequence[Mean]]) -> tuple[float, int, float]:
    """Standard deviation between steps beyond their errors, its degrees of freedom, and the scale."""
    groups = [group for group in groups if len(group) > 1]
    dof = sum(len(group) - 1 for group in groups)
    if not dof:
        return 0.0, 0, 1.0
    total, weight = _scatter(groups, 0.0)
    variance = max((total - dof) / weight, 0.0)
    scale = _scatter(groups, variance)[0] / dof
    if dof > 1:
        return float(np.sqrt(variance)), dof, scale
    return float(np.sqrt(variance / 2)), 2, (scale + 1) / 2


def _scatter(groups: Sequence[Sequence[Mean]], variance: float) -> tuple[float, float]:
    """Weighted squares of the steps about their setups' means, and what a variance more adds to them."""
    total = adds = 0.0
    for group in groups:
        weight = np.array([1 / (max(one.error, 1e-9) ** 2 + variance) for one in group])
        value = np.array([one.value for one in group])
        mean = np.sum(weight * value) / weight.sum()
        total += float(np.sum(weight * (value - mean) ** 2))
        adds += float(weight.sum() - np.sum(weight**2) / weight.sum())
    return total, adds


def drifting(one: Setup, drift: Drift) -> Side:
    """A setup's side with errors that go by the bench's drift, lessened by coming back.

    They may come out below the side's own, known from few steps as they are: use both, the wider counts.
    """
    side = one.side
    per_db = [
        abs(power.value) / LN_TO_DB if power is not None else 0.0 for power in (side.noise, side.interference)
    ]
    drifts = (drift.noise_db * per_db[0], drift.interference_db * per_db[1], drift.excess_db)
    means = (side.noise, side.interference, side.excess_db)
    root = np.sqrt(_steps_alike([part.seconds for part in one.each]))
    noise, interference, excess = (
        mean
        if mean is None or not dof
        else Mean(mean.value, float(np.sqrt(scale) * np.hypot(mean.error, error / root)), dof, common=True)
        for mean, error, dof, scale in zip(means, drifts, drift.dof, drift.scale, strict=True)
    )
    return replace(side, noise=noise, interference=interference, excess_db=excess)


def _steps_alike(seconds: Sequence[float]) -> float:
    """Equally long steps over which drift would average out as well; long ones count for more."""
    total = sum(seconds)
    return total**2 / sum(one**2 for one in seconds) if total > 0 else 1.0


def _widest_drift(each: Sequence[Side]) -> tuple[Estimate | None, float]:
    """Widest difference in excess between two steps, and the chance of such steps on a steady bench."""
    known = [side.excess_db for side in each if side.excess_db is not None]
    if len(known) < 2:
        return None, 1.0
    pairs = [later - earlier for i, earlier in enumerate(known) for later in known[i + 1 :]]
    widest = max(pairs, key=lambda pair: abs(pair.value))
    return widest.interval(1 - 0.05 / len(pairs)), p_unequal(known)


def _widened(one: Setup, drift: Drift) -> Reading:
    """The reading with the drift in its interval."""
    side = drifting(one, drift)
    if side.excess_db is None or one.reading.excess_db is None:
        return one.reading
    half = side.excess_db.interval()
    middle = one.reading.excess_db.value
    reach = max((half.high - half.low) / 2, (one.reading.excess_db.high - one.reading.excess_db.low) / 2)
    return replace(one.reading, excess_db=Estimate(middle, middle - reach, middle + reach))
