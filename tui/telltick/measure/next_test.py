"""What to test next: the swap that can be expected to decide most of the ways in that are still open."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from telltick.measure.looks import Observation
from telltick.measure.pathways import Weighed
from telltick.measure.rules import SWAPS, Line, Look, Swap
from telltick.measure.setups import Setup
from telltick.measure.vocabulary import bench_of, kind_of, tidy
from telltick.measure.wording import step_words
from telltick.model.answers import NextTest, PathVerdict
from telltick.model.cautions import BY_FACTOR, FRAMES
from telltick.model.trial import FACTOR as COIN_TRIAL

MOST = 3
_EFFORT = 0.1  # of a decided path that each step of effort costs
_AGAIN = 0.5  # a look that stayed open is half as likely to decide the next time
_BOTH, _ONE, _PART = 1.0, 0.5, 0.75  # of a path: decided either way, one way only, one way with help
_OPEN = (PathVerdict.NOT_TESTED, PathVerdict.UNDECIDED, PathVerdict.CONTRADICTORY)
_TIE_PATH = "tied to polling"


@dataclass(frozen=True)
class _Candidate:
    look: Look
    gain: float
    splits: tuple[str, ...]
    more_polls: int | None
    again: bool


def next_tests(
    weighed: Sequence[Weighed], setups: Sequence[Setup], *, over: bool = False
) -> tuple[NextTest, ...]:
    """Up to three tests, the best first. As long as no tie is shown, showing it comes first.

    Args:
        weighed: what is known of each way in.
        setups: of the session.
        over: nothing more can be recorded in this session.
    """
    tests = [_for_swap(one, setups) for one in _ranked(weighed)]
    tied = next(one for one in weighed if one.path.name == _TIE_PATH)
    if tied.verdict is not PathVerdict.SUPPORTED:
        tests.insert(0, _coin_trial(tied, over=over))
    return tuple(tests[:MOST])


def _ranked(weighed: Sequence[Weighed]) -> list[_Candidate]:
    candidates = [_candidate(look, weighed) for look in SWAPS]
    worth = [one for one in candidates if one.gain > 0]
    return sorted(worth, key=lambda one: -(one.gain - _EFFORT * (SWAPS[one.look].effort - 1)))


def _candidate(look: Look, weighed: Sequence[Weighed]) -> _Candidate:
    """Expected number of paths that a look decides."""
    bearing = [(one, line) for one in weighed for line in one.path.lines if line.look is look]
    gains = {one.path.name: _gain(one, line) for one, line in bearing if one.verdict in _OPEN}
    before = [seen for one, _ in bearing for seen in _seen_of(one, look)]
    undecided = [seen for seen in before if not seen.seen]
    more = max((seen.more_polls for seen in undecided if seen.more_polls), default=None)
    gain = sum(gains.values()) * (_AGAIN if before else 1.0)
    splits = tuple(name for name, value in gains.items() if value)
    return _Candidate(look, gain, splits, more, bool(before))


def _gain(one: Weighed, line: Line) -> float:
    settled = any(line.look is seen.look for seen in one.against)
    if settled and one.verdict is not PathVerdict.CONTRADICTORY:
        return 0.0
    if line.supports and line.rules_out:
        return one.path.weight * (_PART if one.path.all_needed and len(one.acquitting) > 1 else _BOTH)
    return one.path.weight * _ONE


def _seen_of(one: Weighed, look: Look) -> Iterator[Observation]:
    yield from (seen for seen in (*one.supporting, *one.against, *one.open) if seen.look is look)


def _coin_trial(tied: Weighed, *, over: bool) -> NextTest:
    because = "Nothing yet shows that the noise is tied to the polling; odds from drawn slots do, or do not."
    if over:
        because += " This session is over: record a new one, in which telltick itself does the polling."
    return NextTest(COIN_TRIAL, "in a new session" if over else "on", (tied.path.name,), because)


def _for_swap(one: _Candidate, setups: Sequence[Setup]) -> NextTest:
    swap = SWAPS[one.look]
    present = max(setups, key=lambda setup: max(setup.steps))
    value = _value(swap, present, setups)
    because = f"It {'settles' if len(one.splits) == 1 else 'tells apart'}: {', '.join(one.splits)}"
    if one.again:
        because += "; the steps so far leave it open"
        because += f" (about {one.more_polls} more polls on each side)" if one.more_polls else ""
    heard = [setup for setup in setups if setup.side.heard]
    if heard and not present.side.heard:
        because += f"; first go back to the bench of {step_words(heard[0].steps[:1])}, where it is heard"
    return NextTest(swap.factor, value, one.splits, f"{because}.", _caution(swap))


def _value(swap: Swap, present: Setup, setups: Sequence[Setup]) -> str:
    """The value to set: as in the rule, or back from it when the bench already stands so."""
    now = present.bench.get(swap.factor, "")
    proposed = bench_of({swap.factor: swap.press})[tidy(swap.factor)]
    if now != proposed and not (swap.to and not swap.among and kind_of(swap.factor, now) in swap.to):
        return swap.press
    others = [_said(setup.said, swap.factor) for setup in setups if setup.bench.get(swap.factor, "") != now]
    return next((value for value in others if value), _OTHER_VALUES.get(swap.factor, "another"))


_OTHER_VALUES = {"antenna": "antenna", "cable": "A", "choke": "none", "baud": "9600", "rf gain": "full"}


def _said(said: Mapping[str, str], factor: str) -> str:
    return next((value for name, value in said.items() if tidy(name) == factor), "")


def _caution(swap: Swap) -> str:
    return FRAMES if swap.factor == "request" else BY_FACTOR.get(swap.factor, "")
