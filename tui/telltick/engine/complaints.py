"""Troubles of the inputs on their way into the journal: a fault that repeats itself must not fill it."""

from __future__ import annotations

from dataclasses import dataclass

from telltick.model.clock import NS
from telltick.model.session import HealthNote

EVERY_NS = 5 * NS  # of one kind, no more than one note in this time


@dataclass(frozen=True, slots=True)
class Trouble:
    """An input's complaint, in the library's own words.

    Attributes:
        kind: such as ``serial lost``.
        note: words about it.
        t_ns: session time.
    """

    kind: str
    note: str
    t_ns: int


class Complaints:
    """Lets the first of each kind through at once, and gathers those that follow it closely.

    A note's value says for how many it stands.
    """

    def __init__(self) -> None:
        self._told_ns: dict[str, int] = {}
        self._held: dict[str, tuple[int, Trouble]] = {}  # how many, and the last of them

    def take(self, trouble: Trouble) -> HealthNote | None:
        """The note to journal now, if it is to be journalled now."""
        told_ns = self._told_ns.get(trouble.kind)
        if told_ns is None or trouble.t_ns - told_ns >= EVERY_NS:
            self._told_ns[trouble.kind] = trouble.t_ns
            held, _ = self._held.pop(trouble.kind, (0, trouble))
            return _note(trouble, held + 1)
        count, _ = self._held.get(trouble.kind, (0, trouble))
        self._held[trouble.kind] = count + 1, trouble
        return None

    def due(self, now_ns: int) -> list[HealthNote]:
        """Notes of what was gathered, where the time of its kind is over."""
        over = [kind for kind in self._held if now_ns - self._told_ns[kind] >= EVERY_NS]
        return [self._let_go(kind, now_ns) for kind in over]

    def rest(self, now_ns: int) -> list[HealthNote]:
        """Notes of all that is left."""
        return [self._let_go(kind, now_ns) for kind in list(self._held)]

    def _let_go(self, kind: str, now_ns: int) -> HealthNote:
        count, last = self._held.pop(kind)
        self._told_ns[kind] = now_ns
        return _note(last, count)


def _note(trouble: Trouble, count: int) -> HealthNote:
    words = trouble.note if count == 1 else f"{count} times, last: {trouble.note}"
    return HealthNote(trouble.t_ns, trouble.kind, float(count), words)
