"""Sessions side by side, written out: for a terminal, as JSON, as Markdown, as a page."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from telltick.export.comparison_csv import comparison_csv
from telltick.export.comparison_figures import pictures_of
from telltick.export.comparison_story import comparison_story
from telltick.export.files import write_texts
from telltick.export.markdown import story_markdown
from telltick.export.placing import check_file_place
from telltick.export.report.page import story_html
from telltick.export.report.story import Column, Story, Table
from telltick.export.values import number
from telltick.model.answers import Change
from telltick.model.comparison import MatchedSetup, SessionComparison, SessionLine, SessionPair
from telltick.model.errors import BadInputError
from telltick.model.readings import Estimate, Reading

COMPARISON = "telltick.comparison/1"
ENDINGS = (".html", ".md", ".csv", ".json", ".txt")
WIDTH = 110  # columns, where no terminal says otherwise
_WIDEST_CELL, _READABLE_CELL, _NARROWEST_CELL = 34, 18, 8
_GAP = "  "


def write_comparison(compared: SessionComparison, path: Path, made: str, *, overwrite: bool = False) -> Path:
    """Write a comparison to a file whose ending says how: .html, .md, .csv, .json or .txt.

    Raises:
        BadInputError: another ending, a place that cannot be written, or a file is there already.
        StorageError: the disk is full.
    """
    story = comparison_story(compared)
    check_place(path, overwrite=overwrite)
    kind = path.suffix.lower()
    if kind == ".html":
        text = story_html(story, pictures_of(compared), made=made)
    elif kind == ".md":
        text = story_markdown(story)
    elif kind == ".csv":
        text = comparison_csv(compared)
    elif kind == ".json":
        text = json.dumps(comparison_document(compared), indent=2, allow_nan=False) + "\n"
    else:
        text = comparison_text(compared) + "\n"
    write_texts({path: text}, overwrite=overwrite)
    return path


def check_place(path: Path, *, overwrite: bool = False) -> None:
    """Refuse a place before anything is measured.

    Raises:
        BadInputError: its ending says nothing, it cannot be written, or a file is there already.
    """
    if path.suffix.lower() not in ENDINGS:
        raise BadInputError(f"{path} has an ending that says nothing; use {', '.join(ENDINGS)}")
    check_file_place(path, overwrite=overwrite)


# ---- text


def comparison_text(compared: SessionComparison, width: int = WIDTH) -> str:
    """For reading in a terminal of so many columns."""
    return story_text(comparison_story(compared), width)


def story_text(story: Story, width: int = WIDTH) -> str:
    """Any report as plain text, its tables in columns."""
    lines = [f"{story.title}: {story.subtitle}", *_filled(" ".join(story.answer), width), ""]
    for section in story.sections:
        lines += [section.title, ""]
        lines += [f"{what}: {value}" for what, value in section.facts]
        for table in section.tables:
            lines += [*table_lines(table, width), ""]
        for paragraph in (*section.text, *section.items):
            lines += _filled(paragraph, width)
        lines.append("")
    return "\n".join(lines).rstrip()


def table_lines(table: Table, width: int = WIDTH) -> list[str]:
    """A table in columns; long cells run over several lines, spare columns go where room is short."""
    kept, widths = _fitted(table, width)
    columns = [table.columns[i] for i in kept]
    rows = [[row[i] for i in kept] for row in (tuple(column.title for column in table.columns), *table.rows)]
    wrapped = [
        [textwrap.wrap(cell, room) or [""] for cell, room in zip(row, widths, strict=True)] for row in rows
    ]
    out = [table.caption]
    for number_of_row, row in enumerate(wrapped):
        for n in range(max(map(len, row))):
            out.append(_line([cell[n] if n < len(cell) else "" for cell in row], widths, columns))
        if not number_of_row:
            out.append(_GAP.join("-" * room for room in widths))
    return out


def _fitted(table: Table, width: int) -> tuple[list[int], list[int]]:
    """Which columns there is room for, and how wide each is: text gives way, numbers do not."""
    widths, least = {}, {}
    for i, column in enumerate(table.columns):
        cells = max((len(row[i]) for row in table.rows), default=0)
        word = max(map(len, column.title.split()), default=1)
        widths[i] = max(min(cells, _WIDEST_CELL), word)
        least[i] = widths[i] if column.kind == "number" else min(widths[i], max(word, _NARROWEST_CELL))
    kept = list(widths)
    for i, column in enumerate(table.columns):
        if column.spare and _total([min(widths[k], max(least[k], _READABLE_CELL)) for k in kept]) > width:
            kept.remove(i)
    while _total([widths[i] for i in kept]) > width:
        wide = [i for i in kept if widths[i] > least[i]]
        if not wide:
            break
        widths[max(wide, key=lambda i: widths[i])] -= 1
    return kept, [widths[i] for i in kept]


def _total(widths: Sequence[int]) -> int:
    return sum(widths) + len(_GAP) * (len(widths) - 1)


def _line(cells: Sequence[str], widths: Sequence[int], columns: Sequence[Column]) -> str:
    parts = [
        f"{cell:>{width}}" if column.kind == "number" else f"{cell:<{width}}"
        for cell, width, column in zip(cells, widths, columns, strict=True)
    ]
    return _GAP.join(parts).rstrip()


def _filled(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, min(width, WIDTH))


# ---- JSON


def comparison_document(compared: SessionComparison) -> dict[str, Any]:
    """The object that ``compare --json`` prints; `schemas/comparison-1.json` describes every key."""
    return {
        "schema": COMPARISON,
        "bound_db": compared.bound_db,
        "comparisons": compared.comparisons,
        "sessions": [_session(one) for one in compared.sessions],
        "pairs": [_pair(one) for one in compared.pairs],
    }


def _session(one: SessionLine) -> dict[str, Any]:
    return {
        "name": one.name,
        "bench": one.bench,
        "started_utc": one.started_utc,
        "seconds": one.seconds,
        "steps": one.steps,
        "whole": None if one.problem else _reading(one.whole),
        "highest": None if one.top is None else _reading(one.top),
        "highest_setup": dict(one.top_setup),
        "warnings": list(one.warnings),
        "problem": one.problem or None,
    }


def _reading(one: Reading) -> dict[str, Any]:
    return {
        "polls": one.polls,
        "seconds": one.seconds,
        "noise_dbfs": number(one.noise_dbfs),
        "interference_dbfs": number(one.interference_dbfs),
        "excess_db": _estimate(one.excess_db),
        "verdict": str(one.verdict),
        "upper_limit_i_over_n_db": number(one.upper_limit_i_over_n_db),
    }


def _pair(one: SessionPair) -> dict[str, Any]:
    return {
        "before": one.before,
        "after": one.after,
        "differing": {factor: list(values) for factor, values in one.differing.items()},
        "levels_compare": one.levels_compare,
        "setups": [_setup(matched) for matched in one.setups],
        "only_before": [dict(setup) for setup in one.only_before],
        "only_after": [dict(setup) for setup in one.only_after],
        "notes": list(one.notes),
    }


def _setup(one: MatchedSetup) -> dict[str, Any]:
    change = one.change
    return {
        "setup": dict(one.setup),
        "before_steps": list(one.before_steps),
        "after_steps": list(one.after_steps),
        "levels": str(one.levels),
        "verdict": "not comparable" if change is None else change.words,
        "change": None if change is None else _change(change),
    }


def _change(change: Change) -> dict[str, Any]:
    return {
        "excess_db": _estimate(change.excess_db),
        "interference_db": _estimate(change.interference_db),
        "interference_at_least_db": number(change.interference_at_least_db),
        "noise_db": _estimate(change.noise_db),
        "basis": change.basis,
        "p_changed": number(change.p_changed),
        "p_same": number(change.p_same),
        "more_polls": change.more_polls,
        "because": change.because,
    }


def _estimate(one: Estimate | None) -> dict[str, float | None] | None:
    if one is None:
        return None
    return {"value": number(one.value), "low": number(one.low), "high": number(one.high)}
