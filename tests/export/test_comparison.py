"""Comparisons written out; read by jsonschema, html5lib and markdown-it-py, all independent."""

from __future__ import annotations

import csv
import json
from importlib import resources

import html5lib
import pytest
from jsonschema import Draft202012Validator
from markdown_it import MarkdownIt

from telltick.export.comparison_out import comparison_document, comparison_text, write_comparison
from telltick.model.comparison import Levels, MatchedSetup, SessionComparison, SessionLine, SessionPair
from telltick.model.errors import BadInputError
from tests.export.scene import EVIL
from tests.export.story import BEAM, FOUND, LOAD, QUIETER, answers

SCHEMA = json.loads(resources.files("telltick.export").joinpath("schemas/comparison-1.json").read_text())
CHANGE, UNDECIDED, CHANGED = answers().changes


def line(name: str, **changes) -> SessionLine:
    parts = {
        "bench": "larkfell hut",
        "started_utc": "2026-05-02T19:03:00.000Z",
        "seconds": 78.0,
        "steps": 3,
        "whole": FOUND,
        "top": QUIETER,
        "top_setup": {"antenna": "dummy load"},
    }
    return SessionLine(name=name, **{**parts, **changes})


def compared() -> SessionComparison:
    sessions = (line("before"), line(EVIL), SessionLine(name="broken", problem="it is no session"))
    setups = (
        MatchedSetup({"antenna": "beam"}, (0, 2), (0,), CHANGE),
        MatchedSetup({"antenna": "dummy load"}, (1,), (1,), UNDECIDED),
        MatchedSetup({"antenna": "none"}, (3,), (2,), None, Levels.NONE),
    )
    pair = SessionPair(0, 1, {"computer": ("desk", "laptop")}, setups, (BEAM,), (LOAD,), ("Inputs differ.",))
    return SessionComparison(sessions, (pair,), 1.0, 2)


def test_the_document_keeps_to_its_schema():
    Draft202012Validator.check_schema(SCHEMA)
    check = Draft202012Validator(SCHEMA, format_checker=Draft202012Validator.FORMAT_CHECKER)
    for one in (compared(), SessionComparison((line("a"),))):
        document = json.loads(json.dumps(comparison_document(one), allow_nan=False))
        assert [error.message for error in check.iter_errors(document)] == []


def test_no_key_is_written_that_the_schema_does_not_describe():
    def strict(node):
        if isinstance(node, list):
            return [strict(one) for one in node]
        if not isinstance(node, dict):
            return node
        out = {key: strict(value) for key, value in node.items()}
        return {**out, "additionalProperties": False} if "required" in node else out

    check = Draft202012Validator(strict(SCHEMA))
    assert [error.message for error in check.iter_errors(comparison_document(compared()))] == []


def test_the_verdict_words_are_those_of_a_session():
    verdicts = [one["verdict"] for one in comparison_document(compared())["pairs"][0]["setups"]]
    assert verdicts == ["no change within 1 dB", "undecided", "not comparable"]


def test_the_text_says_what_differs_and_what_could_not_be_measured():
    text = comparison_text(compared(), 200)
    assert "Differs throughout: computer: desk to laptop" in text
    assert "broken could not be measured: it is no session" in text
    assert "about 44 more polls a side" in " ".join(text.split())
    assert "\x1b" not in text


def test_the_page_is_valid_and_the_name_of_a_session_stays_text(tmp_path):
    path = write_comparison(compared(), tmp_path / "c.html", "now")
    root = html5lib.HTMLParser(strict=True).parse(path.read_text())
    assert not list(root.iter("{http://www.w3.org/1999/xhtml}b"))
    assert "=1+2 <b>&amp;" in "".join(root.itertext())


def test_the_tables_of_the_markdown_are_tables(tmp_path):
    path = write_comparison(compared(), tmp_path / "c.md", "now")
    tokens = MarkdownIt("commonmark").enable("table").parse(path.read_text())
    assert sum(token.type == "table_open" for token in tokens) == 2


def test_the_ending_of_the_file_chooses_the_form(tmp_path):
    assert (
        json.loads(write_comparison(compared(), tmp_path / "c.json", "now").read_text())["comparisons"] == 2
    )
    assert "Sessions side by side" in write_comparison(compared(), tmp_path / "c.txt", "now").read_text()
    with pytest.raises(BadInputError, match="ending that says nothing"):
        write_comparison(compared(), tmp_path / "c", "now")


@pytest.mark.parametrize("width", [80, 110, 160])
def test_a_table_keeps_to_the_terminal_and_loses_no_word_of_what_it_keeps(width):
    text = comparison_text(
        SessionComparison(tuple(line(f"larkfell-hut-evening-{n}") for n in range(30))), width
    )
    assert max(map(len, text.splitlines())) <= width
    assert "".join(text.split()).count("tied") >= 30
    assert ("Recorded" in text) == (width > 110)


def test_a_spreadsheet_has_a_row_a_session_or_a_row_a_setup_of_a_pair(tmp_path):
    few = list(csv.DictReader(write_comparison(compared(), tmp_path / "few.csv", "now").open(newline="")))
    assert [one["verdict"] for one in few] == ["no change within 1 dB", "undecided", "not comparable"]
    assert [one["levels"] for one in few] == ["dBFS", "dBFS", "not comparable"]
    broken = SessionLine(name=EVIL, problem="it is no session")
    table = SessionComparison((line("before"), broken))
    many = list(csv.DictReader(write_comparison(table, tmp_path / "many.csv", "now").open(newline="")))
    assert float(many[0]["highest_excess_db"]) == QUIETER.excess_db.value
    assert many[1]["problem"] == "it is no session"
    assert many[1]["session"].startswith("'=")  # no formula: OWASP, "CSV Injection"
