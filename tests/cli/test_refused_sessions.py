"""What is no session, or cannot be exported: one clear line, exit code 2, nothing lost or left behind."""

from __future__ import annotations

import shutil
import sqlite3

import pytest

from tests.cli.files import text_file

READERS = [("replay",), ("measure",), ("measure", "--json"), ("export", "--to", "csv")]


@pytest.mark.parametrize("command", READERS, ids=" ".join)
def test_what_is_not_a_session_is_refused(refused, tmp_path, command):
    empty = tmp_path / "empty"
    empty.mkdir()
    assert "not a session" in refused(*command, empty)
    assert "does not exist" in refused(*command, tmp_path / "nowhere")
    assert "is a file" in refused(*command, text_file(tmp_path / "file", "x"))


@pytest.mark.parametrize("command", READERS, ids=" ".join)
def test_a_session_of_a_newer_schema_is_refused_and_left_as_it_is(refused, saved, tmp_path, command):
    copy = shutil.copytree(saved, tmp_path / "copy")
    with sqlite3.connect(copy / "journal.sqlite") as db:
        (version,) = db.execute("PRAGMA user_version").fetchone()
        db.execute(f"PRAGMA user_version = {version + 1}")
    before = (copy / "journal.sqlite").read_bytes()
    assert "newer" in refused(*command, copy)
    assert (copy / "journal.sqlite").read_bytes() == before


@pytest.mark.parametrize("command", READERS, ids=" ".join)
def test_a_damaged_journal_is_refused(refused, tmp_path, command):
    (tmp_path / "journal.sqlite").write_bytes(b"not a database, but long enough to be read as one" * 40)
    assert "journal" in refused(*command, tmp_path)


def test_an_export_to_a_place_that_cannot_be_written_is_refused(refused, saved, tmp_path):
    place = text_file(tmp_path / "file", "x") / "out.json"
    assert str(place) in refused("export", saved, "--to", "json", "-o", place)


def test_an_export_into_a_folder_where_a_file_is_meant_is_refused(refused, saved, tmp_path):
    for place in (tmp_path, ""):
        assert "is a folder" in refused("export", saved, "--to", "vtt", "-o", place)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "command",
    [
        *(("export", "--to", to) for to in ("csv", "json", "vtt", "html", "md", "wav", "bag")),
        ("compare",),
    ],
)
def test_nothing_is_written_where_the_folder_is_missing_or_a_file_is_there(
    refused, saved, tmp_path, command, monkeypatch
):
    monkeypatch.setattr("telltick.engine.exporting.measure_session", pytest.fail)  # refused before any work
    monkeypatch.setattr("telltick.engine.comparing.compare_paths", pytest.fail)
    verb, *options = command
    sessions = [saved, saved] if verb == "compare" else [saved]
    ending = ".zip" if "bag" in options else ".html"
    lost = tmp_path / "lost" / f"x{ending}"
    assert "there is no folder" in refused(verb, *sessions, *options, "-o", lost)
    assert list(tmp_path.iterdir()) == []
    mine = text_file(tmp_path / f"x{ending}", "mine")
    assert "--overwrite" in refused(verb, *sessions, *options, "-o", mine)
    assert mine.read_text(encoding="utf-8") == "mine"


def test_an_export_without_a_place_replaces_nothing(refused, saved, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    mine = text_file(tmp_path / f"{saved.name}.json", "mine")
    assert "exists" in refused("export", saved, "--to", "json")
    assert mine.read_text(encoding="utf-8") == "mine"


def test_an_unknown_export_is_refused(refused, saved):
    assert "'wav2'" in refused("export", saved, "--to", "wav2")
