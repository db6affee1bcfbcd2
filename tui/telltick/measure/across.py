"""Sessions set against each other: before and after a repair, two radios, two computers.

Setups are matched by the factors that both sessions have on record. A factor that stayed the same throughout
each session, but is not the same in both, is what the sessions differ in: it does not keep setups from being
matched. Each match is judged as a change within one session would be, by the same tests, in the same words.

Levels compare at the antenna socket where both sessions are calibrated. Without that they compare in dBFS,
and only where one input recorded both and no gain is known to differ; else the excess decides.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from telltick.measure.changes import Comparison, Judged, judged
from telltick.measure.equivalence import Mean
from telltick.measure.setups import Drift, Setup, drifting
from telltick.measure.sides import Side
from telltick.model.comparison import Levels
from telltick.model.readings import Reading

FACTOR = "session"
GAINS = ("rf gain", "monitor level", "agc")  # factors that move every level in the audio
_ONE_SIDED_95 = 1.645  # standard errors of a normal value
_LIMIT_DOF = 60.0
_NO_READING = Reading(0, 0.0)


@dataclass(frozen=True)
class SetupSides:
    """What has to be kept of a setup, so that it can be compared later.

    Attributes:
        bench: factor -> value, tidied.
        said: factor -> value as the operator put it.
        steps: indices of its steps.
        pure: as measured.
        drifting: with the bench's own drift in the errors.
        antenna_db: what makes dBm at the antenna socket of dBFS; None without a calibration that holds.
    """

    bench: dict[str, str]
    said: dict[str, str]
    steps: tuple[int, ...]
    pure: Side
    drifting: Side
    antenna_db: float | None = None


@dataclass(frozen=True)
class Matched:
    """Two sessions, and which of their setups belong together.

    Attributes:
        differing: factor -> (value before, value after) of what the sessions differ in throughout.
        pairs: (before, after) setups.
        only_before: setups of the first session without a match.
        only_after: setups of the second.
    """

    differing: dict[str, tuple[str, str]]
    pairs: tuple[tuple[SetupSides, SetupSides], ...]
    only_before: tuple[SetupSides, ...]
    only_after: tuple[SetupSides, ...]


def sides_of(
    setups: Sequence[Setup],
    drift: Drift,
    antenna_db: Callable[[Mapping[str, str]], float | None] = lambda _: None,
) -> tuple[SetupSides, ...]:
    """The setups of a measured session as they are kept.

    Args:
        setups: of the session.
        drift: of the session's bench.
        antenna_db: what makes dBm at the antenna socket of dBFS with a setup; None where nothing does.
    """
    return tuple(
        SetupSides(
            one.bench,
            one.said,
            one.steps,
            _up_to_limit(one.side, one.reading),
            _up_to_limit(_by_itself(drifting(one, drift)), one.reading),
            antenna_db(one.said),
        )
        for one in setups
    )


def _by_itself(side: Side) -> Side:
    """What two sessions know of their drifts are two estimates, not one."""
    means = (side.noise, side.interference, side.excess_db)
    noise, interference, excess = (mean and replace(mean, common=False) for mean in means)
    return replace(side, noise=noise, interference=interference, excess_db=excess)


def _up_to_limit(side: Side, reading: Reading) -> Side:
    """Where no latency stands out, as after a repair: none, or as much as the upper limit leaves unseen."""
    limit_db = reading.upper_limit_i_over_n_db
    if side.excess_db is not None or side.noise is None or limit_db is None:
        return side
    ratio = 10 ** (limit_db / 10)
    excess = Mean(0.0, float(10 * np.log10(1 + ratio)) / _ONE_SIDED_95, _LIMIT_DOF)
    interference = Mean(0.0, side.noise.value * ratio / _ONE_SIDED_95, _LIMIT_DOF)
    return replace(side, excess_db=excess, interference=interference)


def levels_of(before: SetupSides, after: SetupSides, *, same_input: bool) -> Levels:
    """The scale on which the levels of two setups compare.

    Args:
        before: of one session.
        after: of the other.
        same_input: nothing but the radio was changed between antenna socket and file.
    """
    if before.antenna_db is not None and after.antenna_db is not None:
        return Levels.ANTENNA
    known = [gain for gain in GAINS if gain in before.bench and gain in after.bench]
    same_gain = all(before.bench[gain] == after.bench[gain] for gain in known)
    return Levels.AUDIO if same_input and same_gain else Levels.NONE


def matched(before: Sequence[SetupSides], after: Sequence[SetupSides]) -> Matched:
    """Which setups of two sessions belong together."""
    factors = _factors(before) & _factors(after)
    steady = {
        factor: (_values(before, factor).pop(), _values(after, factor).pop())
        for factor in sorted(factors)
        if len(_values(before, factor)) == len(_values(after, factor)) == 1
    }
    differing = {factor: values for factor, values in steady.items() if values[0] != values[1]}
    keys = sorted(factors - differing.keys())
    later = {_key(one, keys): one for one in reversed(after)}
    pairs, left_before = [], []
    for one in before:
        other = later.pop(_key(one, keys), None)
        if other is None:
            left_before.append(one)
        else:
            pairs.append((one, other))
    used = {id(other) for _, other in pairs}
    left_after = tuple(one for one in after if id(one) not in used)
    return Matched(_as_said(differing, before, after), tuple(pairs), tuple(left_before), left_after)


def judged_sessions(
    matches: Sequence[tuple[Matched, str, str, Sequence[Levels]]], bound_db: float = 1.0
) -> Iterator[tuple[Judged | None, ...]]:
    """The verdicts on all matched setups of all pairs of sessions, corrected for their number together.

    Args:
        matches: for each pair of sessions: its matched setups, the names of the two sessions, and for each
            of the setups the scale on which levels compare.
        bound_db: differences smaller than this count as none.

    Returns:
        for each pair of sessions, one verdict a matched setup; None where nothing can be compared.
    """
    pairs = [
        [_comparison(*pair, before, after, one) for pair, one in zip(match.pairs, levels, strict=True)]
        for match, before, after, levels in matches
    ]
    found = judged([pair for group in pairs for pair in group], bound_db)
    by_pair = {id(one.comparison): one for one in found}
    for group in pairs:
        yield tuple(by_pair.get(id(pair)) for pair in group)


def _comparison(
    before: SetupSides, after: SetupSides, before_name: str, after_name: str, levels: Levels
) -> Comparison:
    """Two setups as a swap of one session for another."""
    (one, one_pure), (other, other_pure) = (_on_scale(setup, levels) for setup in (before, after))
    named = _named(before, before_name), _named(after, after_name)
    return Comparison(*named, (FACTOR,), (one_pure, other_pure), (one, other))


def _on_scale(setup: SetupSides, levels: Levels) -> tuple[Side, Side]:
    """A setup's sides, with the bench's drift and without, on a scale that both sessions have."""
    sides = setup.drifting, setup.pure
    if levels is Levels.NONE:  # only what does not depend on the gain between antenna socket and file
        return replace(sides[0], noise=None, interference=None), replace(
            sides[1], noise=None, interference=None
        )
    if levels is Levels.AUDIO or setup.antenna_db is None:
        return sides
    times = 10 ** (setup.antenna_db / 10)
    return _scaled(sides[0], times), _scaled(sides[1], times)


def _scaled(side: Side, times: float) -> Side:
    noise, interference = (
        None if power is None else replace(power, value=times * power.value, error=times * power.error)
        for power in (side.noise, side.interference)
    )
    return replace(side, noise=noise, interference=interference)


def _named(one: SetupSides, name: str) -> Setup:
    said = {FACTOR: name}
    return Setup(said, said, one.steps, one.pure, (), _NO_READING)


def _factors(setups: Sequence[SetupSides]) -> set[str]:
    """Factors that every setup of a session has on record."""
    each = [set(one.bench) for one in setups]
    return set.intersection(*each) if each else set()


def _values(setups: Sequence[SetupSides], factor: str) -> set[str]:
    return {one.bench[factor] for one in setups}


def _key(one: SetupSides, factors: Sequence[str]) -> tuple[str, ...]:
    return tuple(one.bench[factor] for factor in factors)


def _as_said(
    differing: Mapping[str, tuple[str, str]], before: Sequence[SetupSides], after: Sequence[SetupSides]
) -> dict[str, tuple[str, str]]:
    """The operators' own words."""

    def word(setup: SetupSides, factor: str, tidied: str) -> str:
        return next(
            (value for name, value in setup.said.items() if name.casefold().strip() == factor), tidied
        )

    return {
        factor: (word(before[0], factor, values[0]), word(after[0], factor, values[1]))
        for factor, values in differing.items()
    }
