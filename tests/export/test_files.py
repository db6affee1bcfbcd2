"""Where exports go."""

from __future__ import annotations

import errno
import json
from pathlib import Path

import pytest

from telltick.export.files import export_session
from telltick.model.errors import BadInputError, StorageError
from tests.export.scene import measurement, session


def test_csv_writes_five_tables_into_the_folder_named(tmp_path):
    written = export_session(session(), measurement(), "csv", tmp_path / "tables")
    assert [path.name for path in written] == [
        "journal.csv", "steps.csv", "changes.csv", "findings.csv", "bursts.csv",
    ]  # fmt: skip
    assert sorted((tmp_path / "tables").iterdir()) == sorted(written)


def test_a_file_that_is_there_is_replaced_only_when_told_to(tmp_path):
    place = tmp_path / "out.json"
    place.write_text("old")
    with pytest.raises(BadInputError, match=r"exists; .* --overwrite"):
        export_session(session(), measurement(), "json", place)
    assert place.read_text() == "old"
    assert export_session(session(), measurement(), "json", place, overwrite=True) == (place,)
    assert json.loads(place.read_text())["schema"] == "telltick.session/1"


def test_one_table_that_is_there_keeps_all_of_them_from_being_written(tmp_path):
    (tmp_path / "findings.csv").write_text("mine")
    with pytest.raises(BadInputError, match=r"findings\.csv exists"):
        export_session(session(), measurement(), "csv", tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["findings.csv"]
    assert len(export_session(session(), measurement(), "csv", tmp_path, overwrite=True)) == 5


def test_without_a_name_nothing_is_replaced(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (path,) = export_session(session(), measurement(), "vtt")
    assert path == Path("2026-05-02T1903Z-larkfell-hut.vtt")
    with pytest.raises(BadInputError, match="exists; name another place with -o"):
        export_session(session(), measurement(), "vtt")


def test_a_place_that_cannot_be_written_is_named(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(BadInputError, match="cannot be written"):
        export_session(session(), measurement(), "json", tmp_path / "file" / "x.json")


def test_a_full_disk_leaves_the_old_file_whole(tmp_path, monkeypatch):
    place = tmp_path / "out.vtt"
    place.write_text("old")

    def full(self, *args, **kwargs):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "write_text", full)
    with pytest.raises(StorageError, match="disk is full"):
        export_session(session(), measurement(), "vtt", place, overwrite=True)
    assert place.read_text() == "old"
    assert list(tmp_path.iterdir()) == [place]


def test_an_unknown_format_is_refused(tmp_path):
    with pytest.raises(BadInputError, match="choose csv, json, vtt"):
        export_session(session(), measurement(), "xls", tmp_path / "x")
