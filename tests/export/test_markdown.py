"""The report as Markdown: what a reader of CommonMark with tables sees is what was meant.

Reference: markdown-it-py, an independent implementation of CommonMark and of the tables of GitHub's flavour.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from markdown_it import MarkdownIt

from telltick.export.markdown import escaped, report_markdown
from telltick.export.report.telling import story_of
from telltick.model.text import plain_text
from tests.export.scene import EVIL, FACTS, session
from tests.export.story import evidence

READER = MarkdownIt("commonmark", {"html": True}).enable("table")


def plain(token) -> str:
    """Text of an inline token; markup of any other kind fails."""
    kinds = {child.type for child in token.children}
    assert kinds <= {"text", "text_special", "em_open", "em_close", "strong_open", "strong_close"}, kinds
    return "".join(child.content for child in token.children)


def tables(text: str) -> list[list[list[str]]]:
    """Cells of every table."""
    out: list[list[list[str]]] = []
    tokens = READER.parse(text)
    for token, inside in pairwise(tokens):
        if token.type == "table_open":
            out.append([])
        elif token.type == "tr_open":
            out[-1].append([])
        elif token.type in ("td_open", "th_open"):
            out[-1][-1].append(plain(inside))
    return out


def test_every_table_is_read_back_cell_by_cell():
    story = story_of(evidence())
    meant = [
        [[column.title for column in table.columns], *map(list, table.rows)]
        for section in story.sections
        for table in section.tables
    ]
    read = tables(report_markdown(evidence()))
    assert read == [[[" ".join(cell.split()) for cell in row] for row in table] for table in meant]
    assert len(read) >= 6


def test_question_answer_and_headings_are_there():
    text = report_markdown(evidence())
    tokens = READER.parse(text)
    heads = [plain(b) for a, b in pairwise(tokens) if a.type == "heading_open"]
    assert heads[0] == "Interference made by serial polling"
    assert {"Steps", "Changes", "What to test next", "Versions and checksums"} <= set(heads)


@pytest.mark.parametrize(
    "text",
    [
        "+6.6 (+6.5 to +6.7)", "-33.0", "02:30:13", "tied to polling", "steps[1]: heard: too short",
        "rf_gain {full} $5 me@hut #3 ^ 10^36", "p < 0.01 & N > 3", "100.5 1.5) C:\\dir C#",
    ],
)  # fmt: skip
def test_what_means_nothing_in_markdown_is_not_escaped(text):
    assert escaped(text) == text


def test_a_cell_is_not_at_the_beginning_of_its_line():
    assert escaped("-", begins=False) == "-"
    assert escaped("-") == "\\-"


@pytest.mark.parametrize(
    "text",
    [
        "- a",
        "+ a",
        "1. a",
        "2) a",
        "# a",
        "> a",
        "---",
        "===",
        "* a",
        "- - -",
        "--",
        "#",
        "[a]: b",
        "[a](b)",
        "![a][b]",
        "<b>",
        "<http://x.y>",
        "&lt;",
        "a\\",
        "_a_",
        "| a | b |",
        "    a",
        "```",
        EVIL,
    ],
)
def test_what_means_something_at_the_start_of_a_line_means_itself(text):
    tokens = READER.parse(escaped(text))
    assert [token.type for token in tokens] == ["paragraph_open", "inline", "paragraph_close"]
    assert plain(tokens[1]) == " ".join(text.split())


@settings(max_examples=300)
@given(st.text(max_size=60) | st.text("*_`[]()<>#&;:!|~\\-+=.1a /lt", max_size=30))
def test_any_text_means_itself(text):
    line = plain_text(text)
    tokens = READER.parse(escaped(line))
    read = [plain(token) for token in tokens if token.type == "inline"]
    assert read == ([line] if line else [])


def test_a_session_named_like_markup_does_not_change_the_layout():
    evil = evidence(session=session(facts=replace(FACTS, name="# x | [y](z) <i> `"), marks=()))
    tokens = READER.parse(report_markdown(evil))
    assert not [token for token in tokens if token.type == "html_block"]
    assert any(token.type == "inline" and "# x | [y](z) <i> `" in plain(token) for token in tokens)
