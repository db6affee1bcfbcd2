"""A real disk that fills under a real recorder: an early warning, an orderly stop, a way on by request."""

from __future__ import annotations

import contextlib
import signal
from pathlib import Path

import pytest

from telltick.engine.offline import measured_document
from telltick.model.clock import NS
from telltick.model.marks import MarkKind
from telltick.model.session import GapKind, Verb
from telltick.store.journal import Journal
from telltick.store.reserve import RESERVE_BYTES, RESERVE_NAME, free_bytes
from telltick.store.session import SessionReader
from tests.bench_parts.recording import Recording
from tests.small_disk import small_disk_at

pytestmark = pytest.mark.bench_part

DISK_MB = 8


@pytest.fixture
def small_disk(tmp_path):
    """A disk of a few megabytes; needs the right to mount."""
    with small_disk_at(tmp_path / "disk", DISK_MB) as place:
        yield place


def leave_free(place: Path, name: str, count: int) -> Path:
    """Fill the disk up to `count` bytes."""
    ballast = place / name
    with contextlib.suppress(OSError), ballast.open("wb") as file:
        file.write(bytes(max(free_bytes(place) - count, 0)))
    return ballast


def disk_gaps(reader: SessionReader) -> list:
    return [gap for gap in reader.gaps if gap.kind is GapKind.DISK_FULL]


def test_a_full_disk_stops_the_recording_in_good_order_and_it_goes_on_by_request(small_disk):
    with Recording(small_disk / "s", "--bench", "--seed=7") as recording:
        now = recording.wait_for(lambda now: now.audio.samples > now.facts.rate_hz, "a second of audio")
        warned = [note for note in now.health if note.kind == "disk space"]
        assert len(warned) == 1
        assert 20 < warned[0].value < 80  # 7 MB at 96 kB/s, and a journal
        assert "at the present rate" in warned[0].note
        assert (recording.folder / RESERVE_NAME).stat().st_size == RESERVE_BYTES
        ballast = leave_free(small_disk, "ballast", 700_000)

        now = recording.wait_for(lambda now: bool(disk_gaps(now)), "the stop")
        kept = now.audio.samples
        assert len(now.audio.read(0, kept)) == kept
        assert not (recording.folder / RESERVE_NAME).exists()
        assert disk_gaps(now)[0].end_ns is None
        assert any(note.kind == "disk full" and "ask to resume" in note.note for note in now.health)

        refused = recording.ask(Verb.RESUME)
        assert not refused.done
        assert "free some space first" in refused.note
        with Journal.open(recording.folder) as journal:  # there is room for the operator's words
            journal.add_mark(t_ns=now.end_ns, kind=MarkKind.NOTE, note="looking for something to delete")
        assert recording.reader.audio.samples == kept

        ballast.unlink()
        assert recording.ask(Verb.RESUME).done
        rate = now.facts.rate_hz
        now = recording.wait_for(lambda now: now.audio.samples > kept + 2 * rate, "more audio")
        (gap,) = disk_gaps(now)
        assert gap.sample == kept
        assert gap.end_ns is not None
        assert gap.end_ns > gap.start_ns
        assert {anchor.run for anchor in now.anchors} == {0, 1}
        assert not recording.ask(Verb.RESUME).done
        assert recording.ask(Verb.FINISH).done
        assert recording.finish()[0] == 0
    with SessionReader(small_disk / "s") as reader:
        assert reader.ending.how == "requested"
        heard_s = reader.audio.samples / rate
        missing_s = sum(gap.end_ns - gap.start_ns for gap in reader.gaps) / NS
        assert heard_s + missing_s == pytest.approx((reader.end_ns - reader.start_ns) / NS, abs=0.1)
        assert "looking for something to delete" in [mark.note for mark in reader.marks]
    assert not (small_disk / "s" / RESERVE_NAME).exists()
    assert any("missing in 1 place" in warning for warning in measured_document(small_disk / "s")["warnings"])


def test_a_disk_that_stays_full_to_the_last_byte_still_lets_the_recorder_end_and_the_session_open(small_disk):
    with Recording(small_disk / "s", "--bench", "--seed=7") as recording:
        recording.wait_for(lambda now: now.audio.samples > 3 * now.facts.rate_hz, "three seconds of audio")
        leave_free(small_disk, "ballast", 300_000)
        recording.wait_for(lambda now: bool(disk_gaps(now)), "the stop")
        leave_free(small_disk, "more", 0)
        recording.send(signal.SIGTERM)
        code, out, err = recording.finish()
        assert "Traceback" not in out + err
        assert code in (0, 1)  # whether the last words find room depends on where the pages fall
    with SessionReader(small_disk / "s") as reader:
        assert reader.audio.samples > 3 * reader.facts.rate_hz
        assert len(reader.polls) > 10
        assert disk_gaps(reader)[0].end_ns is None
