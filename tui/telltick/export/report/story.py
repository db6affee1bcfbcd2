"""What a report says, free of any format: sections of sentences, facts and tables."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Column:
    """A column of a table.

    Attributes:
        title: its heading.
        kind: ``text``, ``number`` or ``verdict``.
        spare: a plain-text table leaves it out where room is short.
    """

    title: str
    kind: str = "text"
    spare: bool = False


@dataclass(frozen=True)
class Table:
    """Cells are plain text, not yet escaped for any format.

    Attributes:
        caption: what the table shows.
        columns: one a column.
        rows: each as long as `columns`.
        notes: sentences below it.
    """

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Section:
    """A part of the report.

    Attributes:
        key: short name, stable; also the anchor in a page.
        title: its heading.
        text: paragraphs.
        facts: (what, value) pairs.
        items: a list.
        tables: in order.
        figures: names of the figures that belong here.
        clips: whether the sound clips belong here.
    """

    key: str
    title: str
    text: tuple[str, ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    items: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    figures: tuple[str, ...] = ()
    clips: bool = False

    @property
    def empty(self) -> bool:
        """Nothing to say."""
        return not (self.text or self.facts or self.items or self.tables or self.figures or self.clips)


@dataclass(frozen=True)
class Story:
    """A whole report.

    Attributes:
        title: of the page.
        subtitle: bench, date and length.
        question: what was asked.
        answer: two or three sentences.
        sections: the rest, in order; none is empty.
    """

    title: str
    subtitle: str
    question: str
    answer: tuple[str, ...]
    sections: tuple[Section, ...]
