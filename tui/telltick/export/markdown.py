"""The report as Markdown for a forum or an issue tracker: CommonMark with the tables of GitHub's flavour."""

from __future__ import annotations

import re
from collections.abc import Iterator

from telltick.export.report.story import Section, Story, Table
from telltick.export.report.telling import story_of
from telltick.model.evidence import Evidence

# ASCII punctuation may be escaped by a backslash (CommonMark 0.31, section 2.4). It is where it could have a
# meaning, and nowhere else: many a forum shows the source.
_MARKUP = re.compile(
    r"""(
    \\(?=[!-/:-@\[-`{-~]|$)                            # would escape what follows (2.4)
    | [`*|~]                                           # code, emphasis, cells, strikethrough
    | (?<![^\W_])_ | _(?![^\W_])                       # emphasis, but not within a word (6.2)
    | <(?=[A-Za-z/!?])                                 # a tag or an address (6.5, 6.6)
    | &(?=(?:\#\d{1,7}|\#[xX][\da-fA-F]{1,6}|\w+);)     # a character by its name (2.5)
    | :(?=//)                                          # an address that GitHub's flavour makes a link
    | (?<!\S)\#(?=\#*$)                                # the end of a heading (4.2)
    )""",
    re.VERBOSE | re.ASCII,
)
_LINK = re.compile(r"\](?=[(\[])")  # what makes a link of brackets (6.3)
# A list, a quotation, a heading, a rule or a link's definition, where a line begins so.
_AT_START = re.compile(r"^(?:[-+](?=\s|$)|-(?=[-\s]*$)|[>\[]|\#{1,6}(?=\s|$)|\d{1,9}(?=[.)](?:\s|$)))")


def report_markdown(evidence: Evidence) -> str:
    """The whole report without figures and sound; every word from outside is escaped."""
    return story_markdown(story_of(evidence))


def story_markdown(story: Story) -> str:
    """Any report as Markdown."""
    lines = [*_head(story)]
    for section in story.sections:
        lines += _section(section)
    return "\n".join(lines).rstrip() + "\n"


def escaped(text: str, *, begins: bool = True) -> str:
    """Text that means itself in Markdown.

    Args:
        text: anything; white space becomes single blanks.
        begins: it may stand at the beginning of a line.
    """
    line = " ".join(text.split())
    plain = _MARKUP.sub(r"\\\1", line)
    if _LINK.search(line):
        plain = plain.replace("[", "\\[")
    start = _AT_START.match(plain) if begins else None
    if start is None:
        return plain
    return f"{start[0]}\\{plain[start.end() :]}" if start[0].isdigit() else f"\\{plain}"


def table_lines(table: Table) -> Iterator[str]:
    """A table with its caption before and its notes after."""
    yield from (f"**{escaped(table.caption)}**", "")
    yield _row(column.title for column in table.columns)
    yield "|" + "|".join(" ---: " if column.kind == "number" else " --- " for column in table.columns) + "|"
    for row in table.rows:
        yield _row(row)
    yield ""
    yield from _list(table.notes)


def _row(cells: Iterator[str] | tuple[str, ...]) -> str:
    return "| " + " | ".join(escaped(cell, begins=False) for cell in cells) + " |"


def _head(story: Story) -> Iterator[str]:
    yield from (f"# {escaped(story.title)}", "", escaped(story.subtitle), "")
    yield from (f"*{escaped(story.question)}*", "")
    yield from (escaped(" ".join(story.answer)), "")


def _section(section: Section) -> Iterator[str]:
    body = list(_body(section))
    if body:
        yield from (f"## {escaped(section.title)}", "", *body)


def _body(section: Section) -> Iterator[str]:
    for paragraph in section.text:
        yield from (escaped(paragraph), "")
    yield from _list(tuple(f"{what}: {value}" for what, value in section.facts))
    for table in section.tables:
        yield from table_lines(table)
    yield from _list(section.items)


def _list(items: tuple[str, ...]) -> Iterator[str]:
    for item in items:
        yield f"- {escaped(item)}"
    if items:
        yield ""
