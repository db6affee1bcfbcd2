"""Changes: two setups that differ, set against each other: what differs, what does not, what is open.

Where the receiver's gain stays put, I decides: it does not mind a floor that wanders. Where the gain gives
way to the bursts, I and N move with it and the excess decides. With polling off there is no I to measure;
there, whatever the audio has more than the quiet between polls had counts as what is left of it. Two setups
without any interference can only be compared by N.

Whoever watches a session that grows looks again and again, and a test made for one look would sooner or later
say what is not so. All looks share one level, the same at each (Pocock, Biometrika 64, 1977): a twelfth of it
holds for a look every second while the polls grow twentyfold, at one and a half times the polls that a length
settled beforehand would take. ``python -m tests.benchmarks.watched_changes`` tells both. Drift does not grow
with the polls, so what rests on it is tested as it is.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from itertools import combinations, pairwise

import numpy as np

from telltick.measure.equivalence import (
    Mean,
    holm,
    p_above,
    p_below,
    p_differs,
    p_within,
    ratio_interval,
)
from telltick.measure.setups import Drift, Setup, drifting
from telltick.measure.sides import Side, beside, in_db
from telltick.measure.vocabulary import POLLING, Kind, kind_of
from telltick.measure.wording import explained
from telltick.model.answers import Change, ChangeVerdict
from telltick.model.readings import Estimate

Means = Sequence[tuple[Mean | None, Mean | None]]  # before and after, with either error

LEVEL = 0.05
LOOKS = 12.0  # as many separate looks does a session take that is watched as it grows
INTERFERENCE, EXCESS, NOISE = "interference", "excess", "noise"
_MOST_TIMES = 100.0  # as much data: farther ahead nothing is foretold
_HALVINGS = 7


@dataclass(frozen=True)
class Comparison:
    """Two setups to be set against each other.

    Attributes:
        before: the one that came first.
        after: the other.
        factors: in which they differ.
        sides: of the two, with their own errors.
        wandering: of the two, with errors that go by the bench's drift; whatever is said holds by both.
    """

    before: Setup
    after: Setup
    factors: tuple[str, ...]
    sides: tuple[Side, Side]
    wandering: tuple[Side, Side]

    @property
    def both(self) -> tuple[tuple[Side, Side], tuple[Side, Side]]:
        """The sides with either error."""
        return self.sides, self.wandering

    @property
    def basis(self) -> str:
        """What decides: ``interference``, ``excess``, or ``noise`` where there is neither."""
        before, after = self.sides
        if before.interference is None or after.interference is None:
            return NOISE if before.excess_db is None or after.excess_db is None else EXCESS
        known = before.excess_db is not None and after.excess_db is not None
        reacts = before.gain_reacts or after.gain_reacts
        return EXCESS if known and (reacts or not (before.heard or after.heard)) else INTERFERENCE


@dataclass(frozen=True)
class Judged:
    """A change, and the ends that hold for all comparisons of the session together, for findings.

    Attributes:
        change: as it is shown.
        comparison: what it rests on.
        low_db: lower end of the simultaneous interval of what decides; minus infinity without one.
        high_db: its upper end.
        noise_low_db: the same of N.
        noise_high_db: its upper end.
    """

    change: Change
    comparison: Comparison
    low_db: float
    high_db: float
    noise_low_db: float
    noise_high_db: float


def judged_changes(setups: Sequence[Setup], drift: Drift, bound_db: float) -> tuple[Judged, ...]:
    """Every pair of setups that says something, with verdicts corrected for their number."""
    return judged([_compared(*pair, drift) for pair in _pairs(setups)], bound_db)


def judged(pairs: Sequence[Comparison], bound_db: float) -> tuple[Judged, ...]:
    """The comparisons that can be made, with verdicts corrected for their number.

    The correction is Holm's, once over all "it changed" and once over all "it is the same"; each keeps its
    chance of any false verdict at 5 %.

    Args:
        pairs: what to compare; one that has nothing in common to go by is left out.
        bound_db: differences smaller than this count as none.
    """
    pairs = [pair for pair in pairs if _comparable(pair)]
    chances = [_p_values(pair.both, pair.basis, bound_db) for pair in pairs]
    changed, same = holm([p for p, _ in chances]), holm([p for _, p in chances])
    level = LEVEL / max(len(pairs), 1)
    return tuple(
        _judged(pair, p_changed, p_same, bound_db, level)
        for pair, p_changed, p_same in zip(pairs, changed, same, strict=True)
    )


def _pairs(setups: Sequence[Setup]) -> Iterator[tuple[Setup, Setup]]:
    """Setups that differ in one factor, and neighbours in time that differ in several."""
    passing = {step for one in setups if not _measured(one.side) for step in one.steps}
    for before, after in combinations(setups, 2):
        if len(_differing(before, after)) == 1 or _neighbours(before, after, passing):
            yield before, after


def _measured(side: Side) -> bool:
    return side.noise is not None or side.interference is not None


def _differing(before: Setup, after: Setup) -> tuple[str, ...]:
    factors = dict.fromkeys((*before.bench, *after.bench))
    return tuple(one for one in factors if before.bench.get(one, "") != after.bench.get(one, ""))


def _neighbours(before: Setup, after: Setup, passing: AbstractSet[int]) -> bool:
    """Did the one follow the other? Between two changes at once lies a moment of which nothing is known."""
    pairs = (sorted((i, j)) for i in before.steps for j in after.steps)
    return any(passing >= set(range(first + 1, last)) for first, last in pairs)


def _compared(before: Setup, after: Setup, drift: Drift) -> Comparison:
    factors = _differing(before, after)
    each = [(before.side, after.side), (drifting(before, drift), drifting(after, drift))]
    sides, wandering = ((beside(one, other), beside(other, one)) for one, other in each)
    if factors == (POLLING,):
        sides, wandering = (_with_silence(before, after, one) for one in (sides, wandering))
    return Comparison(before, after, factors, sides, wandering)


def _with_silence(before: Setup, after: Setup, sides: tuple[Side, Side]) -> tuple[Side, Side]:
    """Polling on and off: of the silent side, what it has more than the quiet between polls."""
    first, second = sides
    if kind_of(POLLING, before.bench.get(POLLING, "")) is Kind.OFF:
        return _silent(first, second), second
    return first, _silent(second, first)


def _silent(off: Side, on: Side) -> Side:
    if off.polls or off.noise is None or on.noise is None or on.interference is None:
        return off
    return replace(off, interference=off.noise - on.noise)


def _comparable(pair: Comparison) -> bool:
    before, after = pair.sides
    if pair.basis == NOISE:
        return before.noise is not None and after.noise is not None
    return True


def _p_values(
    both: tuple[tuple[Side, Side], tuple[Side, Side]], basis: str, bound_db: float
) -> tuple[float, float]:
    """Chances of such data if nothing changed, and if it changed by the bound or more, by either error.

    Those of the sides as measured hold whenever one looks.
    """
    measured, wandering = (_p_values_of(sides, basis, bound_db) for sides in both)
    changed, same = (max(min(LOOKS * p, 1.0), q) for p, q in zip(measured, wandering, strict=True))
    return changed, same


def _p_values_of(sides: tuple[Side, Side], basis: str, bound_db: float) -> tuple[float, float]:
    before, after = (_deciding(side, basis) for side in sides)
    if basis == EXCESS:
        return p_differs(after - before), p_within(after - before, bound_db)
    up, down = 10 ** (bound_db / 10), 10 ** (-bound_db / 10)
    same = max(p_below(after.less(before, up), 0.0), p_above(after.less(before, down), 0.0))
    return p_differs(after - before), same


def _deciding(side: Side, basis: str) -> Mean:
    value = {INTERFERENCE: side.interference, EXCESS: side.excess_db, NOISE: side.noise}[basis]
    assert value is not None  # `basis` is chosen by what there is
    return value


def _judged(pair: Comparison, p_changed: float, p_same: float, bound_db: float, level: float) -> Judged:
    verdict = _verdict(p_changed, p_same)
    before, after = pair.sides
    interference, at_least = _interference_db(pair)
    change = Change(
        factors=pair.factors,
        before=_values(pair.before, pair.factors),
        after=_values(pair.after, pair.factors),
        before_steps=pair.before.steps,
        after_steps=pair.after.steps,
        excess_db=_plain(pair),
        interference_db=interference,
        noise_db=_ratio_estimate([(one.noise, other.noise) for one, other in pair.both]),
        basis=pair.basis,
        verdict=verdict,
        bound_db=bound_db,
        p_changed=p_changed,
        p_same=p_same,
        swaps=_swaps(pair.before.steps, pair.after.steps),
        more_polls=_more_polls(pair, bound_db, level) if verdict is ChangeVerdict.UNDECIDED else None,
        interference_at_least_db=at_least,
    )
    change = replace(change, because=explained(change, before.heard or after.heard))
    ends = _simultaneous(pair, level)
    noise = _ratio_ends([(one.noise, other.noise) for one, other in pair.both], *_shares(level))
    return Judged(change, pair, *ends, *noise)


def _verdict(p_changed: float, p_same: float) -> ChangeVerdict:
    """A difference that is sure but smaller than the bound is none that matters."""
    if p_same <= LEVEL:
        return ChangeVerdict.SAME
    return ChangeVerdict.CHANGED if p_changed <= LEVEL else ChangeVerdict.UNDECIDED


def _values(setup: Setup, factors: Sequence[str]) -> dict[str, str]:
    """The operator's own words for the factors."""
    said = {factor.casefold().strip(): value for factor, value in setup.said.items()}
    return {factor: said.get(factor, setup.bench.get(factor, "")) for factor in factors}


def _swaps(before: Sequence[int], after: Sequence[int]) -> int:
    """How often the bench went from the one to the other, in order of time."""
    order = sorted([(step, False) for step in before] + [(step, True) for step in after])
    return sum(a[1] != b[1] for a, b in pairwise(order))


def _shares(level: float) -> tuple[float, float]:
    """Of the intervals by either error, so that they hold whenever one looks."""
    return 1 - level / LOOKS, 1 - level


def _plain(pair: Comparison, shares: tuple[float, float] = (0.95, 0.95)) -> Estimate | None:
    """Difference in excess."""
    found = [
        (after.excess_db - before.excess_db).interval(share)
        for (before, after), share in zip(pair.both, shares, strict=True)
        if before.excess_db is not None and after.excess_db is not None
    ]
    if not found:
        return None
    return Estimate(found[0].value, min(one.low for one in found), max(one.high for one in found))


def _interference_db(pair: Comparison) -> tuple[Estimate | None, float | None]:
    """Difference in I, and where one side has none that can be told: by how much at least it changed."""
    before, after = pair.sides
    if before.interference is None or after.interference is None:
        return None, None
    both = [(one.interference, other.interference) for one, other in pair.both]
    if before.heard and after.heard:
        return _ratio_estimate(both), None
    if before.heard:
        _, high = _ratio_ends(both, 0.90, 0.90)  # one-sided, so 95 %
        return None, min(high, 0.0)
    if after.heard:
        low, _ = _ratio_ends(both, 0.90, 0.90)
        return None, max(low, 0.0)
    return None, None


def _ratio_estimate(both: Means) -> Estimate | None:
    before, after = both[0]
    if before is None or after is None or before.value <= 0 or after.value <= 0:
        return None
    low, high = _ratio_ends(both, 0.95, 0.95)
    value = in_db(after).value - in_db(before).value
    return Estimate(value, low, high) if np.isfinite([low, high]).all() else None


def _ratio_ends(both: Means, *shares: float) -> tuple[float, float]:
    """Interval of after over before in dB, by either error; ends may be infinite."""
    ends = [_ends_of(*means, share) for means, share in zip(both, shares, strict=True)]
    return min(low for low, _ in ends), max(high for _, high in ends)


def _ends_of(before: Mean | None, after: Mean | None, share: float) -> tuple[float, float]:
    if before is None or after is None:
        return -np.inf, np.inf
    direct = ratio_interval(after, before, share)
    if direct is not None:
        return _db(direct[0]), _db(direct[1])
    inverse = ratio_interval(before, after, share)
    return (-np.inf, np.inf) if inverse is None else (-_db(inverse[1]), -_db(inverse[0]))


def _db(ratio: float) -> float:
    return float(10 * np.log10(ratio)) if ratio > 0 else -np.inf


def _simultaneous(pair: Comparison, level: float) -> tuple[float, float]:
    """Ends of what decides that hold for every comparison of the session at once (Bonferroni)."""
    ends = _plain(pair, _shares(level)) if pair.basis == EXCESS else None
    if ends is not None:
        return ends.low, ends.high
    deciding = [tuple(_deciding(side, pair.basis) for side in sides) for sides in pair.both]
    return _ratio_ends([(before, after) for before, after in deciding], *_shares(level))


def _more_polls(pair: Comparison, bound_db: float, level: float) -> int | None:
    """Polls a side that would probably decide it, going on as it began; None if a hundredfold does not."""
    polls = min((side.polls for side in pair.sides if side.polls), default=0)
    few, enough = 1.0, _MOST_TIMES
    if not polls or not _would_decide(pair, enough, bound_db, level):
        return None
    for _ in range(_HALVINGS):
        middle = float(np.sqrt(few * enough))
        if _would_decide(pair, middle, bound_db, level):
            enough = middle
        else:
            few = middle
    return max(1, int(np.ceil((enough - 1) * polls)))


def _would_decide(pair: Comparison, times: float, bound_db: float, level: float) -> bool:
    """Would that many times the data decide it, with something to spare?"""
    before, after = (_with_more(*two, times) for two in zip(*pair.both, strict=True))
    both = (before[0], after[0]), (before[1], after[1])
    return min(_p_values(both, pair.basis, bound_db)) < level / 2


def _with_more(own: Side, wandering: Side, times: float) -> tuple[Side, Side]:
    """A side as it would be with that many times the data, with either error; drift does not shrink."""

    def shrunk(one: Mean | None) -> Mean | None:
        return one and Mean(one.value, float(one.error / np.sqrt(times)), one.dof * times)

    def held(one: Mean | None, wide: Mean | None) -> Mean | None:
        if one is None or wide is None or wide == one:
            return shrunk(one)
        drift = max(wide.error**2 - one.error**2, 0.0)
        least = min(wide.error, one.error) ** 2 / times
        return replace(wide, error=float(np.sqrt(drift + least)))

    means = (own.noise, own.interference, own.excess_db)
    wide = (wandering.noise, wandering.interference, wandering.excess_db)
    return _with_means(own, *map(shrunk, means)), _with_means(own, *map(held, means, wide))


def _with_means(side: Side, noise: Mean | None, interference: Mean | None, excess: Mean | None) -> Side:
    return replace(side, noise=noise, interference=interference, excess_db=excess)
