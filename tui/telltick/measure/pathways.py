"""Findings: the table of rules applied to what a session shows. Never more than the data carry."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from telltick.measure.looks import Observation
from telltick.measure.rules import PATHS, SWAPS, Look, Path
from telltick.measure.wording import factor_words, step_words
from telltick.model.answers import Change, Finding, PathVerdict


@dataclass(frozen=True)
class Weighed:
    """The observations that bear on a way in, by what they say of it.

    Attributes:
        path: the way in.
        supporting: speak for it.
        against: rule it out.
        open: were looked at and say neither.
    """

    path: Path
    supporting: tuple[Observation, ...]
    against: tuple[Observation, ...]
    open: tuple[Observation, ...]

    @property
    def acquitting(self) -> set[Look]:
        """Looks that could rule it out but have not."""
        return {line.look for line in self.path.lines if line.rules_out} - {o.look for o in self.against}

    @property
    def verdict(self) -> PathVerdict:
        """What they say together."""
        if self.supporting:
            clash = self.against and not self.path.support_wins
            return PathVerdict.CONTRADICTORY if clash else PathVerdict.SUPPORTED
        if self.against:
            short = self.path.all_needed and self.acquitting
            return PathVerdict.UNDECIDED if short else PathVerdict.RULED_OUT
        return PathVerdict.UNDECIDED if self.open else PathVerdict.NOT_TESTED


def weighed_paths(seen: Sequence[Observation]) -> tuple[Weighed, ...]:
    """Every way in of the table with what bears on it."""
    return tuple(_weighed(path, seen) for path in PATHS)


def _weighed(path: Path, seen: Sequence[Observation]) -> Weighed:
    supporting, against, undecided = [], [], []
    for line, one in ((line, one) for line in path.lines for one in seen if one.look is line.look):
        if one.seen & set(line.supports):
            supporting.append(one)
        elif one.seen & set(line.rules_out):
            against.append(one)
        elif line.supports:
            undecided.append(one)
    return Weighed(path, tuple(supporting), tuple(against), tuple(undecided))


def findings_of(weighed: Sequence[Weighed], changes: Sequence[Change]) -> tuple[Finding, ...]:
    """The findings as they are shown, one a way in."""
    return tuple(_finding(one, changes) for one in weighed)


def _finding(one: Weighed, changes: Sequence[Change]) -> Finding:
    verdict = one.verdict
    grounds = {
        PathVerdict.SUPPORTED: one.supporting,
        PathVerdict.RULED_OUT: one.against,
        PathVerdict.CONTRADICTORY: (*one.supporting, *one.against),
        PathVerdict.UNDECIDED: (*one.against, *one.open),
        PathVerdict.NOT_TESTED: (),
    }[verdict]
    steps = sorted({step for ground in grounds for step in ground.steps})
    because = _because(one, verdict, grounds, changes)
    return Finding(one.path.name, one.path.question, verdict, because, one.path.reasoning, tuple(steps))


def _because(
    one: Weighed, verdict: PathVerdict, grounds: Sequence[Observation], changes: Sequence[Change]
) -> str:
    if verdict is PathVerdict.NOT_TESTED:
        return _sentence(_untested(one.path, changes))
    if verdict is PathVerdict.CONTRADICTORY:
        return _sentence(f"{_said(one.supporting)}; but {_said(one.against)}")
    said = _said(grounds)
    if verdict is PathVerdict.UNDECIDED and one.against:
        missing = " and ".join(sorted(_deed(look) for look in one.acquitting))
        said += f"; to rule it out it takes {missing} as well"
    return _sentence(said)


def _said(grounds: Iterable[Observation]) -> str:
    """The numbers of the two weightiest observations; the first look of the rule comes first."""
    return "; and ".join(dict.fromkeys(ground.words for ground in list(grounds)[:2]))


def _untested(path: Path, changes: Sequence[Change]) -> str:
    factors = {SWAPS[line.look].factor for line in path.lines if line.look in SWAPS}
    for change in changes:
        mixed = factors & set(change.factors)
        if mixed and len(change.factors) > 1:
            others = ", ".join(factor_words(factor) for factor in change.factors if factor not in mixed)
            steps = step_words((*change.before_steps, *change.after_steps))
            named = ", ".join(map(factor_words, sorted(mixed)))
            return f"{named} was only changed together with {others} ({steps})"
    deeds = " or ".join(_deed(line.look) for line in path.lines if line.look in SWAPS and line.supports)
    return f"not tested: set {deeds}" if deeds else "not tested"


def _deed(look: Look) -> str:
    """What to do, such as ``antenna to dummy load``."""
    swap = SWAPS.get(look)
    return str(look) if swap is None else f"{factor_words(swap.factor)} to {swap.press}"


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:].rstrip('.')}."
