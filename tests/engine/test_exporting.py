"""Ways out of a real session: reports, marked audio, evidence bags.

References: bagit-utils, an independent implementation of BagIt (RFC 8493), and coreutils.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import zipfile
from pathlib import Path

import html5lib
import numpy as np
import pytest
import soundfile
from bagit_utils import Bag

from telltick.engine.exhibits import timeline_of
from telltick.engine.exporting import export_bag, export_folder
from telltick.engine.offline import measured_document
from telltick.model.errors import BadInputError, CancelledError, StorageError
from telltick.sources.bench.script import Change
from telltick.store.integrity import check_session, is_damaged
from telltick.store.session import SessionReader
from tests.engine.sessions import Hands, rendered, write_rendered


@pytest.fixture(scope="module")
def saved(tmp_path_factory) -> Path:
    """Twenty-four seconds with one swap; nobody writes to it."""
    swap = (Change(11.0, "antenna", "dummy load"),)
    folder = tmp_path_factory.mktemp("saved") / "2026-05-02T1903Z-larkfell-hut"
    return write_rendered(folder, rendered(7, 24.0, swap), [Hands(10.0, 12.0, "antenna", "dummy load")])


def problems(bag: Path) -> list[str]:
    """What an independent reader finds wrong with a bag: form, then every checksum."""
    report = Bag(bag).validate()
    return [] if report.valid else [issue.message for issue in report.issues] or ["not valid"]


@pytest.fixture(scope="module")
def bag(saved, tmp_path_factory) -> Path:
    return export_bag(saved, tmp_path_factory.mktemp("out") / "evidence")


def test_an_independent_reader_finds_the_bag_valid(bag):
    assert problems(bag) == []
    assert (bag / "bagit.txt").read_text().startswith("BagIt-Version: 1.0\n")
    assert sorted(Bag(bag).manifests) == ["sha256", "sha512"]


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="needs coreutils")
def test_the_command_in_the_readme_checks_the_bag(bag):
    command = "sha256sum -c manifest-sha256.txt"
    assert command in (bag / "data" / "README.txt").read_text()
    assert subprocess.run(command.split(), cwd=bag, capture_output=True, check=False).returncode == 0
    with (bag / "data" / "results.json").open("a") as file:
        file.write(" ")
    try:
        assert subprocess.run(command.split(), cwd=bag, capture_output=True, check=False).returncode == 1
        assert problems(bag) != []
    finally:
        text = (bag / "data" / "results.json").read_text()
        (bag / "data" / "results.json").write_text(text[:-1])


def test_checking_a_bag_verifies_its_checksums(bag, tmp_path):
    copy = Path(shutil.copytree(bag, tmp_path / "copy"))
    assert any("as it was packed" in one.what for one in check_session(copy))
    assert not is_damaged(check_session(copy))
    with (copy / "data" / "report.html").open("a") as file:
        file.write("forged")
    assert is_damaged(check_session(copy))


def test_measuring_the_bag_gives_the_same_numbers_to_the_last_digit(saved, bag):
    kept = json.loads((bag / "data" / "results.json").read_text())["measurement"]
    again = json.loads(json.dumps(measured_document(bag)))
    original = json.loads(json.dumps(measured_document(saved)))
    assert again == kept
    assert again == original
    assert again["whole"]["excess_db"] is not None


def test_measuring_the_bag_leaves_it_valid(bag):
    measured_document(bag)
    assert problems(bag) == []


def test_the_report_in_the_bag_prints_the_checksums_of_its_files(bag):
    page = (bag / "data" / "report.html").read_text()
    manifest = (bag / "manifest-sha256.txt").read_text()
    sums = [line.split()[0] for line in manifest.splitlines() if "larkfell" in line]
    assert len(sums) == 2
    assert all(one in page for one in sums)


def test_a_bag_ending_in_zip_is_one_file_with_one_folder(saved, tmp_path):
    archive = export_bag(saved, tmp_path / "evidence.zip")
    assert [path.name for path in tmp_path.iterdir()] == ["evidence.zip"]
    with zipfile.ZipFile(archive) as packed:
        assert packed.testzip() is None
        assert {name.split("/")[0] for name in packed.namelist()} == {"evidence"}
        packed.extractall(tmp_path / "unpacked")
    assert problems(tmp_path / "unpacked" / "evidence") == []


def test_a_bag_is_never_put_over_something(saved, tmp_path):
    (tmp_path / "mine").write_text("")
    with pytest.raises(BadInputError, match="is not empty; name a new folder"):
        export_bag(saved, tmp_path)


@pytest.mark.parametrize(
    ("name", "until"),
    [
        ("bag", 0.05),
        ("bag", 0.9),
        ("bag.zip", 0.5),
        ("bag.zip", 0.95),
        ("page.html", 0.93),
        ("audio.wav", 0.93),
    ],
)
def test_giving_up_leaves_nothing_behind(saved, tmp_path, name, until):
    kind = name.split(".")[-1] if "bag" not in name else "bag"
    with pytest.raises(CancelledError):
        export_folder(saved, kind, tmp_path / name, lambda share: share < until)
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_leaves_nothing_behind(saved, tmp_path, monkeypatch):
    def full(*_args, **_kwargs):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("telltick.engine.exporting.make_bag", full)
    with pytest.raises(StorageError, match="disk is full"):
        export_bag(saved, tmp_path / "bag")
    assert list(tmp_path.iterdir()) == []


def test_progress_only_rises_and_ends_at_the_end(saved, tmp_path):
    told: list[float] = []
    export_folder(saved, "html", tmp_path / "r.html", lambda share: told.append(share) is None)
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1.0)
    assert len(told) > 5


def test_the_page_of_a_real_session_is_valid_and_tells_its_numbers(saved, tmp_path):
    (path,) = export_folder(saved, "html", tmp_path / "r.html")
    text = path.read_text()
    root = html5lib.HTMLParser(strict=True).parse(text)
    assert len(list(root.iter("{http://www.w3.org/1999/xhtml}audio"))) == 3
    document = measured_document(saved)
    value = document["steps"][1]["excess_db"]["value"]
    assert f"{value:+.1f}" in text
    assert "antenna: dummy load" in text


def test_without_a_name_the_report_replaces_nothing(saved, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / f"{saved.name}.html").write_text("mine")
    told: list[float] = []
    with pytest.raises(BadInputError, match="exists; name another place"):
        export_folder(saved, "html", None, lambda share: told.append(share) is None)
    assert told == []  # refused before any work


def test_the_marked_audio_is_the_whole_audio(saved, tmp_path):
    (path,) = export_folder(saved, "wav", tmp_path / "all.wav")
    samples, _ = soundfile.read(path, dtype="int16")
    with SessionReader(saved) as reader:
        np.testing.assert_array_equal(samples, reader.audio.read(0, reader.audio.samples))


def test_the_timeline_falls_when_the_antenna_goes(saved):
    with SessionReader(saved) as reader:
        timeline = timeline_of(reader)
    beam = np.nanmedian(timeline.middle_dbfs[timeline.at_s < 10])
    load = np.nanmedian(timeline.middle_dbfs[timeline.at_s > 12])
    assert beam - load == pytest.approx(9.9, abs=0.7)  # the bench's antenna noise over its own
    there = np.isfinite(timeline.middle_dbfs)
    assert there.mean() > 0.95
    assert np.all(timeline.peak_dbfs[there] > timeline.middle_dbfs[there])
