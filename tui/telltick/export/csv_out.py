"""Journal, steps and bursts as CSV tables (RFC 4180, UTF-8) that are safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from operator import itemgetter
from typing import Any

from telltick.export.values import audio_s, number, span_s, wall_utc
from telltick.model.answers import Change
from telltick.model.clock import NS
from telltick.model.document import SessionDocument
from telltick.model.measurement import Measurement, StepReading
from telltick.model.readings import Estimate, Reading
from telltick.model.text import plain_text

_NOTE_LIMIT = 2_000
# What makes a spreadsheet compute a cell instead of showing it; the last four are the full-width forms.
_FORMULA_STARTS = tuple("=+-@\t\r\n|%＝＋－＠")

JOURNAL_COLUMNS = (
    "time_s", "settled_s", "utc", "entry", "factor", "value", "note", "origin", "late",
)  # fmt: skip
READING_COLUMNS = (
    "polls", "seconds", "noise_dbfs", "interference_dbfs", "excess_db", "excess_low_db", "excess_high_db",
    "i_over_n_db", "verdict", "p_value", "upper_limit_i_over_n_db",
)  # fmt: skip
SOUND_COLUMNS = (
    "more_s", "heard_floor_db", "heard_polled_db", "carrier", "character_baud", "noise_dbm",
    "interference_dbm", "expected_noise_dbm", "over_expected_db",
)  # fmt: skip
CHANGE_COLUMNS = (
    "factor", "before", "after", "before_steps", "after_steps", "verdict", "basis", "excess_db",
    "excess_low_db", "excess_high_db", "interference_db", "interference_low_db", "interference_high_db",
    "noise_db", "noise_low_db", "noise_high_db", "p_changed", "p_same", "swaps", "more_polls", "because",
)  # fmt: skip
FINDING_COLUMNS = ("path", "verdict", "steps", "question", "because", "reasoning")
BURST_COLUMNS = ("start_s", "end_s", "direction", "bytes_hex")


def journal_csv(session: SessionDocument) -> str:
    """Everything that happened, in order of time: marks, gaps, requests, health, the ending.

    Times are seconds of audio; `settled_s` is the end of a change's hands-on time, or of a gap or request.
    """
    entries = sorted([*_marks(session), *_events(session)], key=itemgetter(0))
    rows = (
        (
            audio_s(session, t_ns),
            audio_s(session, settled_ns),
            wall_utc(session.facts, t_ns),
            entry,
            *map(text_cell, (factor, value, note)),
            origin,
            late,
        )
        for t_ns, settled_ns, entry, factor, value, note, origin, late in entries
    )
    return table_text(JOURNAL_COLUMNS, rows)


def steps_csv(session: SessionDocument, measurement: Measurement) -> str:
    """One row for the whole session, then one for each step; the setup has a column for each factor."""
    factors = sorted({factor for one in measurement.steps for factor in one.step.setup})
    header = (
        "step",
        "start_s",
        "end_s",
        *READING_COLUMNS,
        *SOUND_COLUMNS,
        "changed",
        *(text_cell(f"setup: {f}") for f in factors),
    )
    blank = [None] * (1 + len(factors))
    whole = (*reading_cells(measurement.whole), None, *_sound(measurement))
    rows: list[Sequence[Any]] = [("whole", 0.0, session.seconds, *whole, *blank)]
    for one in measurement.steps:
        step = one.step
        span = (audio_s(session, step.start_ns), audio_s(session, step.end_ns))
        setup = [text_cell(step.setup.get(factor)) for factor in factors]
        told = (*reading_cells(one.reading), number(one.more_s), *_sound(one))
        rows.append((step.index, *span, *told, text_cell(", ".join(step.changed)), *setup))
    return table_text(header, rows)


def changes_csv(measurement: Measurement) -> str:
    """What the steps say when set against each other: one row a comparison."""
    return table_text(
        CHANGE_COLUMNS,
        (
            (
                *map(text_cell, (", ".join(one.factors), *_values(one))),
                numbered(one.before_steps),
                numbered(one.after_steps),
                one.words,
                one.basis,
                *ends(one.excess_db),
                *ends(one.interference_db),
                *ends(one.noise_db),
                number(one.p_changed),
                number(one.p_same),
                one.swaps,
                one.more_polls,
                text_cell(one.because),
            )
            for one in measurement.answers.changes
        ),
    )


def findings_csv(measurement: Measurement) -> str:
    """What the steps say of each way in: one row a way."""
    return table_text(
        FINDING_COLUMNS,
        (
            (
                one.path,
                str(one.verdict),
                numbered(one.steps),
                *map(text_cell, (one.question, one.because, one.reasoning)),
            )
            for one in measurement.answers.findings
        ),
    )


def bursts_csv(session: SessionDocument) -> str:
    """The bytes on the line, as ``import --bursts`` reads them; bursts without audio are left out."""
    bursts = sorted(session.bursts, key=lambda burst: burst.start_ns)
    starts = session.clock.sample_at([burst.start_ns for burst in bursts]) / session.facts.rate_hz
    return table_text(
        BURST_COLUMNS,
        (
            (
                f"{start:.9f}",
                f"{start + (burst.end_ns - burst.start_ns) / NS:.9f}",
                str(burst.direction),
                burst.data.hex(" "),  # spaces keep a spreadsheet from reading 3E10 as a number
            )
            for start, burst in zip(starts.tolist(), bursts, strict=True)
            if start == start  # noqa: PLR0124  (NaN, no audio, differs from itself)
        ),
    )


def text_cell(text: str | None) -> str | None:
    """Text that no spreadsheet takes for a formula: a leading apostrophe stands before what would be one.

    Source: OWASP, "CSV Injection".
    """
    if text is None:
        return None
    plain = plain_text(text, _NOTE_LIMIT)
    return f"'{plain}" if plain.startswith(_FORMULA_STARTS) else plain


Entry = tuple[int, int | None, str, str | None, str | None, str, str, bool | None]


def _marks(session: SessionDocument) -> Iterable[Entry]:
    for mark in session.marks:
        settled = mark.settled_ns if mark.settled_ns != mark.t_ns else None
        what = (str(mark.kind), mark.factor, mark.value, mark.note, str(mark.origin), mark.late)
        yield mark.t_ns, settled, *what


def _events(session: SessionDocument) -> Iterable[Entry]:
    for gap in session.gaps:
        missing_s = span_s(gap.start_ns, gap.end_ns)
        lost = "still missing" if missing_s is None else f"{missing_s:.3f} s missing"
        yield gap.start_ns, gap.end_ns, "gap", str(gap.kind), lost, gap.note, "program", None
    outcomes = {outcome.request: outcome for outcome in session.outcomes}
    for request in session.requests:
        outcome = outcomes.get(request.number)
        state = "pending" if outcome is None else "done" if outcome.done else "refused"
        note = f"{state}: {outcome.note}" if outcome and outcome.note else state
        settled = outcome.t_ns if outcome else None
        yield request.t_ns, settled, "request", str(request.verb), request.value, note, "operator", None
    for health in session.health:
        yield health.t_ns, None, "health", health.kind, f"{health.value:g}", health.note, "program", None
    if session.ending:
        yield session.ending.t_ns, None, "end", None, session.ending.how, session.ending.note, "program", None


def reading_cells(reading: Reading) -> tuple[Any, ...]:
    """A reading, in the order of `READING_COLUMNS`."""
    return (
        reading.polls,
        reading.seconds,
        number(reading.noise_dbfs),
        number(reading.interference_dbfs),
        *ends(reading.excess_db),
        number(reading.i_over_n_db),
        str(reading.verdict),
        number(reading.p_value),
        number(reading.upper_limit_i_over_n_db),
    )


def _sound(one: Measurement | StepReading) -> tuple[Any, ...]:
    """What is told of a stretch's sound and its levels at the antenna socket."""
    heard, air = one.heard, one.on_air
    return (
        *((number(heard.floor_db), number(heard.polled_db)) if heard else (None, None)),
        str(one.portrait.carrier) if one.portrait else None,
        one.character.baud if one.character else None,
        *(
            (number(air.noise_dbm), number(air.interference_dbm), number(air.expected.dbm))
            if air
            else [None] * 3
        ),
        number(air.over_expected_db) if air else None,
    )


def _values(change: Change) -> tuple[str, str]:
    """The values of the factors on both sides."""
    before, after = (
        ", ".join(side.get(factor, "") for factor in change.factors) for side in (change.before, change.after)
    )
    return before, after


def numbered(steps: Sequence[int]) -> str:
    """Indices of steps, blanks between them."""
    return " ".join(map(str, steps))


def ends(value: Estimate | None) -> tuple[float | None, ...]:
    """A value and the ends of its interval."""
    return (None, None, None) if value is None else tuple(map(number, (value.value, value.low, value.high)))


def table_text(header: Sequence[str | None], rows: Iterable[Sequence[Any]]) -> str:
    """A table as RFC 4180 has it."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows(rows)
    return out.getvalue()
