"""Sessions side by side as a CSV table: a row a session, or a row a setup where a few are compared."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from telltick.export.csv_out import READING_COLUMNS, ends, numbered, reading_cells, table_text, text_cell
from telltick.export.values import number
from telltick.model.comparison import MatchedSetup, SessionComparison, SessionLine, SessionPair
from telltick.model.readings import Reading

SESSION_COLUMNS = (
    "session", "bench", "started_utc", "seconds", "steps",
    *(f"whole_{name}" for name in READING_COLUMNS),
    *(f"highest_{name}" for name in READING_COLUMNS),
    "highest_setup", "problem",
)  # fmt: skip
PAIR_COLUMNS = (
    "before", "after", "setup", "before_steps", "after_steps", "levels", "verdict", "basis", "excess_db",
    "excess_low_db", "excess_high_db", "interference_db", "interference_low_db", "interference_high_db",
    "interference_at_least_db", "noise_db", "noise_low_db", "noise_high_db", "p_changed", "p_same",
    "more_polls", "because",
)  # fmt: skip


def comparison_csv(compared: SessionComparison) -> str:
    """A row a session; where sessions are set against the first, a row a setup that both have."""
    if not compared.pairs:
        return table_text(SESSION_COLUMNS, map(_session, compared.sessions))
    return table_text(
        PAIR_COLUMNS,
        (_setup(compared, pair, matched) for pair in compared.pairs for matched in pair.setups),
    )


def _session(one: SessionLine) -> tuple[Any, ...]:
    return (
        *map(text_cell, (one.name, one.bench, one.started_utc)),
        one.seconds,
        one.steps,
        *_reading(None if one.problem else one.whole),
        *_reading(one.top),
        text_cell(_words(one.top_setup)),
        text_cell(one.problem),
    )


def _reading(one: Reading | None) -> tuple[Any, ...]:
    return (None,) * len(READING_COLUMNS) if one is None else reading_cells(one)


def _setup(compared: SessionComparison, pair: SessionPair, one: MatchedSetup) -> tuple[Any, ...]:
    names = (compared.sessions[index].name for index in (pair.before, pair.after))
    steps = (numbered(one.before_steps), numbered(one.after_steps))
    head = (*map(text_cell, (*names, _words(one.setup))), *steps, str(one.levels))
    change = one.change
    if change is None:
        return (*head, "not comparable", *(None,) * (len(PAIR_COLUMNS) - len(head) - 1))
    return (
        *head,
        change.words,
        change.basis,
        *ends(change.excess_db),
        *ends(change.interference_db),
        number(change.interference_at_least_db),
        *ends(change.noise_db),
        number(change.p_changed),
        number(change.p_same),
        change.more_polls,
        text_cell(change.because),
    )


def _words(setup: Mapping[str, str]) -> str:
    return ", ".join(f"{factor}: {value}" for factor, value in setup.items())
