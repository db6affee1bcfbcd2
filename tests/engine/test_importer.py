"""A recording taken out of a session and imported again measures the same."""

from __future__ import annotations

import csv
import dataclasses
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import soundfile

from telltick.cli import main
from telltick.engine.exporting import export_folder
from telltick.engine.importer import import_recording
from telltick.engine.offline import measured_document
from telltick.model.clock import NS
from telltick.model.errors import BadInputError
from telltick.model.marks import MarkKind
from telltick.store.session import SessionReader
from tests.engine.sessions import Hands, rendered, write_rendered

MARKS = "time_s,factor,value,note\n0.5,,,rain\n"
HANDS = (Hands(15.0, 15.0, "antenna", "dummy load"),)


@pytest.fixture(scope="module")
def original(tmp_path_factory) -> Path:
    return write_rendered(tmp_path_factory.mktemp("original") / "s", rendered(7, 30.0), HANDS)


@pytest.fixture(scope="module")
def tables(original, tmp_path_factory) -> tuple[Path, Path]:
    """Bursts and marks of the session as tables."""
    folder = tmp_path_factory.mktemp("tables")
    bursts, marks = folder / "bursts.csv", folder / "marks.csv"
    with SessionReader(original) as reader, bursts.open("w", newline="", encoding="utf-8") as out:
        rows = csv.writer(out)
        rows.writerow(("start_s", "end_s", "direction", "bytes_hex"))
        for one in reader.bursts:
            rows.writerow((one.start_ns / NS, one.end_ns / NS, str(one.direction), one.data.hex(" ")))
    marks.write_text("time_s,factor,value,note\n15,antenna,dummy load,\n16,,,rain\n17,,,\n", encoding="utf-8")
    return bursts, marks


def audio_file(original: Path, place: Path) -> Path:
    """The session's audio on the right channel of a stereo file; the left one has other noise."""
    with SessionReader(original) as reader:
        audio = reader.audio.read(0, reader.audio.samples)
        rate = reader.facts.rate_hz
    other = np.random.default_rng(1).integers(-900, 900, len(audio), dtype=np.int16)
    soundfile.write(place, np.stack([other, audio], axis=1), rate, subtype="PCM_16")
    return place


@pytest.mark.parametrize("kind", ["wav", "flac"])
def test_wav_and_flac_with_their_bursts_measure_as_the_session_they_came_from(
    original, tables, tmp_path, kind
):
    bursts, marks = tables
    import_recording(
        audio_file(original, tmp_path / f"evening.{kind}"),
        tmp_path / "s",
        bursts=bursts,
        marks=marks,
        channel=2,
        baud=9600,
        framing="8n1",
    )
    before, after = measured_document(original), measured_document(tmp_path / "s")
    assert after["whole"]["verdict"] == "tied to polling"
    assert after["whole"]["polls"] == before["whole"]["polls"]
    assert after["latency_ms"] == pytest.approx(before["latency_ms"], abs=1e-6)
    assert after["whole"]["excess_db"] == pytest.approx(before["whole"]["excess_db"], abs=1e-6)
    assert len(after["steps"]) == len(before["steps"]) == 2
    for one, other in zip(before["steps"], after["steps"], strict=True):
        assert other["excess_db"] == pytest.approx(one["excess_db"], abs=1e-6)
    assert (after["polling"]["baud"], after["polling"]["framing"]) == (9600, "8N1")
    assert after["session"]["source"] == "imported"
    assert after["session"]["ending"] == "source ended"


def test_marks_come_over_as_changes_notes_and_plain_marks(original, tables, tmp_path):
    import_recording(audio_file(original, tmp_path / "a.wav"), tmp_path / "s", marks=tables[1])
    with SessionReader(tmp_path / "s") as reader:
        kinds = [mark.kind for mark in reader.marks]
        assert kinds == [MarkKind.CHANGE, MarkKind.NOTE, MarkKind.PLAIN]
        assert not any(mark.late for mark in reader.marks)


def test_the_folder_is_private_and_progress_reaches_the_end(original, tmp_path):
    told: list[float] = []
    import_recording(audio_file(original, tmp_path / "a.wav"), tmp_path / "s", progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert (tmp_path / "s").stat().st_mode & 0o777 == 0o700


def test_ogg_and_float_files_are_taken_too(original, tmp_path):
    audio = rendered(7, 30.0).audio[: 5 * 48_000] / 32_768
    soundfile.write(tmp_path / "a.ogg", audio, 48_000, format="OGG", subtype="VORBIS")
    soundfile.write(tmp_path / "b.wav", audio, 48_000, subtype="FLOAT")
    for name in ("a.ogg", "b.wav"):
        import_recording(tmp_path / name, tmp_path / name[0])
    with SessionReader(tmp_path / "b") as reader:
        assert np.array_equal(reader.audio.read(0, 240_000), rendered(7, 30.0).audio[:240_000])
    with SessionReader(tmp_path / "a") as reader:
        assert reader.audio.samples == 240_000


def test_an_interrupted_import_leaves_nothing(original, tmp_path):
    def interrupt(_share: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        import_recording(audio_file(original, tmp_path / "a.wav"), tmp_path / "s", progress=interrupt)
    assert not (tmp_path / "s").exists()


def test_a_folder_in_use_is_refused_and_kept(original, tmp_path):
    with pytest.raises(BadInputError, match="already holds a session"):
        import_recording(audio_file(original, tmp_path / "a.wav"), original)
    with SessionReader(original) as reader:
        assert dataclasses.asdict(reader.facts)["name"] == "larkfell hut"


def written(place: Path, text: str) -> Path:
    place.write_text(text, encoding="utf-8")
    return place


def exported(session: Path, to: str, place: Path) -> str:
    return export_folder(session, to, place)[0].read_text(encoding="utf-8")


def test_an_imported_recording_has_no_known_recording_time(tmp_path):
    soundfile.write(tmp_path / "a.wav", np.zeros(16_000, np.int16), 8_000)
    import_recording(tmp_path / "a.wav", tmp_path / "s", marks=written(tmp_path / "m.csv", MARKS))
    today = datetime.now(UTC).strftime("%Y-%m-%d")
    page = exported(tmp_path / "s", "md", tmp_path / "r.md")
    assert "in a new session" in page  # the coin trial
    assert "+0.0" not in page  # no polls make nothing louder
    assert f"Recorded: unknown (imported on {today})" in page
    assert "Imported by: telltick" in page
    rows = list(csv.DictReader(exported(tmp_path / "s", "csv", tmp_path / "t").splitlines()))
    assert [row["entry"] for row in rows] == ["note", "end"]
    assert {row["utc"] for row in rows} == {""}
    facts = measured_document(tmp_path / "s")["session"]
    assert (facts["started_utc"], facts["ended_utc"], facts["imported_utc"][:10]) == (None, None, today)


def test_a_date_that_the_recording_states_is_told_as_its_own(tmp_path):
    with soundfile.SoundFile(tmp_path / "a.flac", "w", 8_000, 1) as file:
        file.date = "2026-05-02"  # libsndfile writes it as a Vorbis comment, in WAV as ICRD
        file.write(np.zeros(16_000, np.int16))
    import_recording(tmp_path / "a.flac", tmp_path / "s")
    page = exported(tmp_path / "s", "md", tmp_path / "r.md")
    assert "Recorded: 2026-05-02, as the recording's file says (imported on" in page
    assert measured_document(tmp_path / "s")["session"]["started_utc"] is None


@pytest.mark.parametrize("kind", ["WAV", "AIFF", "RF64"])
def test_a_recording_that_was_cut_short_is_told_at_import_by_check_and_by_measure(kind, tmp_path, capsys):
    whole = tmp_path / "whole.wav"
    soundfile.write(whole, np.zeros(96_000, np.int16), 8_000, format=kind, subtype="PCM_16")
    head = len(whole.read_bytes()) - 192_000
    cut = tmp_path / "cut.wav"
    cut.write_bytes(whole.read_bytes()[: head + 32_000])
    told = "its header promises 12.0 s, 2.0 s are there"
    assert main(["import", str(cut), "--session", str(tmp_path / "s")]) == 0
    assert told in capsys.readouterr().err
    assert main(["check", str(tmp_path / "s")]) == 0
    said = capsys.readouterr().out
    assert told in said
    assert not said.rstrip().endswith("is whole")
    assert any(told in words for words in measured_document(tmp_path / "s")["warnings"])
    assert not import_recording(whole, tmp_path / "t")


def test_a_header_written_before_its_length_was_known_promises_nothing(tmp_path):
    soundfile.write(tmp_path / "a.wav", np.zeros(16_000, np.int16), 8_000)
    streamed = bytearray((tmp_path / "a.wav").read_bytes())
    at = streamed.index(b"data") + 4
    streamed[at : at + 4] = b"\xff" * 4
    (tmp_path / "a.wav").write_bytes(streamed)
    assert not import_recording(tmp_path / "a.wav", tmp_path / "s")


def test_check_counts_the_polls_of_an_import_as_measure_does(tmp_path, capsys):
    soundfile.write(tmp_path / "a.wav", np.zeros(24_000, np.int16), 8_000)
    # digital silence, as of a muted input: measuring has nothing to hold on to
    rows = [f"{t / 2},{t / 2 + 0.01},tx,00" for t in range(1, 6)]
    bursts = written(tmp_path / "b.csv", "\n".join(["start_s,end_s,direction,bytes_hex", *rows, ""]))
    import_recording(tmp_path / "a.wav", tmp_path / "s", bursts=bursts)
    assert main(["check", str(tmp_path / "s")]) == 0
    assert "5 polls, 5 bursts" in capsys.readouterr().out
    assert measured_document(tmp_path / "s")["polling"]["polls"] == 5
