"""Journal marks in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from telltick.model.clock import NS
from telltick.model.marks import Mark, MarkKind, Origin
from telltick.ui.format import span
from telltick.ui.glyphs import Glyphs

SHORTEST_HANDS_ON_NS = NS  # below this the hands-on time is not worth a word


@dataclass(frozen=True)
class Entry:
    """A journal mark, ready to be shown.

    Attributes:
        mark: the mark itself.
        text: what happened, in words.
        aside: what goes with it: hands-on time, who made it.
    """

    mark: Mark
    text: str
    aside: str


def entries(marks: Iterable[Mark], initial: Mapping[str, str], glyphs: Glyphs) -> list[Entry]:
    """Marks in order of time, each change with the value it replaced.

    Args:
        marks: standing marks.
        initial: setup at the start of the session.
        glyphs: the characters to write with.
    """
    setup = dict(initial)
    out: list[Entry] = []
    for mark in sorted(marks, key=lambda m: (m.t_ns, m.number)):
        out.append(Entry(mark, mark_text(mark, glyphs, setup.get(mark.factor or "")), _aside(mark)))
        if mark.kind is MarkKind.CHANGE and mark.factor and mark.value is not None and not mark.late:
            setup[mark.factor] = mark.value
    return out


def mark_text(mark: Mark, glyphs: Glyphs, before: str | None = None) -> str:
    """One mark in words: ``antenna: beam -> dummy load``.

    Args:
        mark: the mark.
        glyphs: the characters to write with.
        before: the value it replaced, if known.
    """
    note = glyphs.clean(mark.note)
    if mark.kind is MarkKind.NOTE:
        return f"note: {note}"
    if mark.kind is MarkKind.PLAIN:
        return f"mark: {note}" if note else "mark"
    factor = glyphs.clean(mark.factor or "?", 30)
    if mark.value is None:
        return f"{factor}: .." if mark.late else f"hands on {factor}"
    old = f"{glyphs.clean(before, 40)} {glyphs.arrow} " if before else ""
    tail = f" ({note})" if note else ""
    return f"{factor}: {old}{glyphs.clean(mark.value, 60)}{tail}"


def _aside(mark: Mark) -> str:
    words: list[str] = []
    if mark.kind is MarkKind.CHANGE and mark.settled_ns is not None:
        hands_on_ns = mark.settled_ns - mark.t_ns
        if hands_on_ns >= SHORTEST_HANDS_ON_NS:
            words.append(f"hands on {span(hands_on_ns / NS)}")
    if mark.origin is Origin.PROGRAM:
        words.append("program")
    if mark.late:
        words.append("late")
    return ", ".join(words)
