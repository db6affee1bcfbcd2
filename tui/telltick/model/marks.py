"""Marks: what the operator did and when, and the steps of one setup that they cut a session into."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class Origin(StrEnum):
    """Who made a mark."""

    OPERATOR = "operator"
    PROGRAM = "program"


class MarkKind(StrEnum):
    """What a mark says."""

    CHANGE = "change"  # a factor of the setup has a new value
    PLAIN = "plain"  # something happened here
    NOTE = "note"  # a remark


@dataclass(frozen=True, slots=True)
class Mark:
    """One entry of the journal as it stands now.

    Attributes:
        number: identity of the mark; an edit keeps it.
        t_ns: session time at which the change began (or of the plain mark or note).
        settled_ns: end of the hands-on time; None while hands are still on. Equal to `t_ns` for plain marks.
        kind: change, plain or note.
        factor: which factor of the setup changed; None unless it is a change.
        value: its new value; None while hands are still on.
        note: free text.
        origin: operator or program.
        late: True for marks added after the session was recorded.
    """

    number: int
    t_ns: int
    settled_ns: int | None
    kind: MarkKind
    factor: str | None = None
    value: str | None = None
    note: str = ""
    origin: Origin = Origin.OPERATOR
    late: bool = False

    @property
    def hands_on(self) -> bool:
        """True while the change is under way."""
        return self.kind is MarkKind.CHANGE and self.settled_ns is None


@dataclass(frozen=True, slots=True)
class MarkRow:
    """One append-only journal row: states a mark, restates it, or withdraws it.

    Attributes:
        row: rises with every row written.
        mark: the mark as this row states it.
        withdrawn: True when this row undoes the mark.
    """

    row: int
    mark: Mark
    withdrawn: bool = False


def standing_marks(rows: Iterable[MarkRow]) -> tuple[Mark, ...]:
    """The marks that stand after every restatement and withdrawal, in order of time."""
    latest: dict[int, MarkRow] = {}
    for row in sorted(rows, key=lambda r: r.row):
        latest[row.mark.number] = row
    standing = (row.mark for row in latest.values() if not row.withdrawn)
    return tuple(sorted(standing, key=lambda mark: (mark.t_ns, mark.number)))


@dataclass(frozen=True)
class Step:
    """A stretch of session with one setup, hands-on time left out.

    Attributes:
        index: counts from 0.
        start_ns: session time at which it starts.
        end_ns: session time at which it ends.
        setup: factor -> value during the step.
        changed: the factors whose value differs from the step before.
    """

    index: int
    start_ns: int
    end_ns: int
    setup: Mapping[str, str] = field(default_factory=dict)
    changed: tuple[str, ...] = ()


def setup_at(t_ns: int, initial: Mapping[str, str], marks: Iterable[Mark]) -> dict[str, str]:
    """The setup at session time `t_ns`: initial values, then every settled change up to then."""
    setup = dict(initial)
    for mark in sorted(marks, key=lambda m: m.t_ns):
        settled = mark.settled_ns is not None and mark.settled_ns <= t_ns
        if settled and mark.kind is MarkKind.CHANGE and mark.factor and mark.value is not None:
            setup[mark.factor] = mark.value
    return setup


def steps_of(
    initial: Mapping[str, str], marks: Iterable[Mark], start_ns: int, end_ns: int
) -> tuple[Step, ...]:
    """Cut [start_ns, end_ns] into steps at the changes among `marks`.

    A change ends a step where it began and starts the next where it settled. Changes whose hands-on times
    overlap belong together: no step lies between them. Marks made late do not cut.

    Args:
        initial: setup at the start.
        marks: standing marks, any order.
        start_ns: session time of the first audio.
        end_ns: session time of the last audio.
    """
    changes = sorted(
        (m for m in marks if m.kind is MarkKind.CHANGE and not m.late and m.t_ns < end_ns),
        key=lambda m: m.t_ns,
    )
    steps: list[Step] = []
    setup, before = dict(initial), dict(initial)
    begin = start_ns
    for mark in changes:
        if mark.t_ns > begin:
            steps.append(_step(len(steps), begin, mark.t_ns, setup, before if steps else setup))
            before = dict(setup)
        if mark.factor and mark.value is not None:
            setup[mark.factor] = mark.value
        begin = max(begin, end_ns if mark.settled_ns is None else mark.settled_ns)
    if begin < end_ns:
        steps.append(_step(len(steps), begin, end_ns, setup, before if steps else setup))
    return tuple(steps)


def _step(index: int, start: int, end: int, setup: Mapping[str, str], before: Mapping[str, str]) -> Step:
    changed = tuple(factor for factor in setup if setup[factor] != before.get(factor))
    return Step(index, start, end, dict(setup), changed)
