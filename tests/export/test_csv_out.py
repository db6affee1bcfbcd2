"""CSV tables, read back with the standard library's csv module.

Sources: RFC 4180 (line ends, quoting); OWASP "CSV Injection" (which cells a spreadsheet computes).
"""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from telltick.export.csv_out import bursts_csv, changes_csv, findings_csv, journal_csv, steps_csv, text_cell
from telltick.model.marks import Mark, MarkKind
from tests.export.scene import FACTS, MARKS, everything, measurement, session


def table(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


@pytest.mark.parametrize(
    "start", ["=", "+", "-", "@", "\t=", "\r=", "\n=", " =", "＝", "\x1b[0m=", "\u202e="]
)
def test_text_that_a_spreadsheet_would_compute_gets_an_apostrophe(start):
    cell = text_cell(f"{start}1+cmd")
    assert cell.startswith("'")


@given(st.text())
def test_no_text_cell_ever_starts_a_formula(text):
    cell = text_cell(text)
    assert not cell.lstrip().startswith(tuple("=+-@\t\r"))
    assert cell.isprintable()


@given(st.text(), st.text(), st.text(min_size=1))
def test_no_mark_however_written_becomes_a_formula_or_another_row(note, value, factor):
    mark = Mark(1, 10**9, 10**9, MarkKind.CHANGE, factor, value, note)
    rows = table(journal_csv(session(marks=(mark,), gaps=(), health=(), requests=(), ending=None)))
    assert len(rows) == 1
    for name in ("factor", "value", "note"):
        assert not rows[0][name].startswith(tuple("=+-@\t\r"))


def test_plain_text_stays_as_it_is():
    assert text_cell('beam, 2 elements; "new" -3 dB') == 'beam, 2 elements; "new" -3 dB'


def test_numbers_stay_numbers_even_when_negative():
    rows = table(steps_csv(session(), measurement()))
    assert float(rows[0]["noise_dbfs"]) == -52.1
    assert rows[0]["noise_dbfs"].startswith("-")


def test_the_first_row_of_the_steps_is_the_whole_session():
    rows = table(steps_csv(session(), measurement()))
    assert [row["step"] for row in rows] == ["whole", "0", "1"]
    assert [row["setup: antenna"] for row in rows] == ["", "beam", "dummy load"]
    assert rows[2]["changed"] == "antenna"
    assert rows[2]["excess_db"] == ""
    assert rows[1]["verdict"] == "tied to polling"


def test_a_step_tells_its_sound_and_its_levels_at_the_antenna():
    row = table(steps_csv(session(), everything()))[1]
    assert (row["heard_polled_db"], row["carrier"]) == ("-27.7", "carried by the reply bytes")
    assert (row["noise_dbm"], row["over_expected_db"], row["more_s"]) == ("-104.0", "5.8", "0.0")


def test_changes_and_findings_have_tables_of_their_own():
    change = table(changes_csv(everything()))[0]
    assert (change["factor"], change["before"], change["after"]) == ("antenna", "beam", "dummy load")
    assert (change["verdict"], change["interference_low_db"]) == ("no change within 1 dB", "-0.1")
    findings = table(findings_csv(everything()))
    assert [(row["path"], row["verdict"], row["steps"]) for row in findings] == [
        ("antenna", "ruled out", "0 1"),
        ("supply", "not tested", ""),
    ]


def test_the_journal_is_in_order_of_time_and_tells_everything():
    rows = table(journal_csv(session()))
    assert [row["entry"] for row in rows] == [
        "request", "request", "change", "note", "plain", "gap", "health", "change", "end",
    ]  # fmt: skip
    assert rows[2]["settled_s"] == "13.0"
    assert rows[0]["note"] == "done: baud: 4800"
    assert rows[5]["value"] == "5.000 s missing"


def test_the_burst_table_leaves_out_what_has_no_audio_and_keeps_hex_from_being_a_number():
    rows = table(bursts_csv(session()))
    assert [(row["start_s"], row["direction"], row["bytes_hex"]) for row in rows] == [
        ("1.000000000", "tx", "52 46 3b"),
        ("1.012000000", "rx", "3e 10"),
    ]


def test_lines_end_as_rfc_4180_says():
    tables = (journal_csv(session()), bursts_csv(session()), steps_csv(session(), measurement()))
    for text in (*tables, changes_csv(everything()), findings_csv(everything())):
        assert text.endswith("\r\n")
        assert text.count("\n") == text.count("\r\n")


def test_a_factor_named_like_a_formula_stays_text_in_the_header():
    header = steps_csv(session(facts=FACTS, marks=MARKS), measurement()).splitlines()[0]
    assert "setup: antenna" in header
    one = measurement().steps[0]
    evil = replace(one, step=replace(one.step, setup={"=cmd|' /C calc'!A0": "=1"}))
    rows = list(csv.reader(io.StringIO(steps_csv(session(), measurement(steps=(evil,))), newline="")))
    assert not any(cell.startswith(("=", "@", "+")) for row in rows for cell in row)
