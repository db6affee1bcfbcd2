"""A real disk that fills: what was written stays readable, and writing goes on once there is room."""

from __future__ import annotations

import numpy as np
import pytest

from telltick.model.clock import NS, Anchor
from telltick.model.errors import StorageError
from telltick.model.session import Ending
from telltick.store.journal import Journal
from telltick.store.segments import AudioWriter
from telltick.store.session import SessionReader
from tests.small_disk import small_disk_at
from tests.store.scene import FACTS, RATE, noise, poll_at

pytestmark = pytest.mark.bench_part


@pytest.fixture
def small_disk(tmp_path):
    """A disk of 2 MB; needs the right to mount."""
    with small_disk_at(tmp_path / "disk", 2) as place:
        yield place


def fill(call, *arguments_each):
    """Call with each item until the disk refuses; returns how many went well."""
    for done, arguments in enumerate(zip(*arguments_each, strict=True)):
        try:
            call(*arguments)
        except StorageError:
            return done
    raise AssertionError("the disk never filled")


def test_audio_and_journal_survive_a_full_disk_and_go_on(small_disk):
    folder = small_disk / "s"
    folder.mkdir()
    ballast = small_disk / "ballast"
    ballast.write_bytes(bytes(500_000))
    audio = noise(200 * RATE)
    with Journal.create(folder, FACTS) as journal:
        journal.add_anchor(Anchor(0, 0, 0, 0))
        polls = [poll_at(number, number * NS)[0] for number in range(2000)]
        for bursts in polls[:100]:
            journal.add_bursts(bursts)
        writer = AudioWriter(folder, RATE, segment_s=10)
        fill(writer.write, np.split(audio, 2000))
        kept = writer.samples
        stored = 100 + fill(journal.add_bursts, polls[100:])
        with SessionReader(folder) as reader:
            assert reader.audio.samples == kept
            np.testing.assert_array_equal(reader.audio.read(0, kept), audio[:kept])
            assert list(reader.bursts) == [burst for bursts in polls[:stored] for burst in bursts]
        ballast.unlink()
        writer.write(audio[kept : kept + RATE])
        writer.close()
        journal.add_bursts(polls[stored])
        journal.end(Ending(1, "requested"))
    with SessionReader(folder) as reader:
        np.testing.assert_array_equal(reader.audio.read(0, kept + RATE), audio[: kept + RATE])
        assert len(reader.bursts) == 2 * (stored + 1)
        assert reader.ending == Ending(1, "requested")


def test_a_session_is_not_begun_on_a_full_disk(small_disk):
    folder = small_disk / "s"
    folder.mkdir()
    with pytest.raises(OSError, match="No space left"):
        (small_disk / "ballast").write_bytes(bytes(4_000_000))
    with pytest.raises(StorageError, match="disk is full"):
        Journal.create(folder, FACTS)
    (small_disk / "ballast").unlink()
    Journal.create(folder, FACTS).close()
