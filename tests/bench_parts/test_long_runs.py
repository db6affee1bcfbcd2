"""Nothing grows in a long session that should not; a day, and more than 4 GB, open at once."""

from __future__ import annotations

import os

import numpy as np
import pytest

from telltick.engine.replay import SavedFeed
from telltick.model.clock import NS, Anchor
from telltick.model.session import Ending
from telltick.model.snapshot import Phase, View
from telltick.store.journal import Journal
from telltick.store.segments import HEADER, SEGMENT_S, AudioWriter, segment_name
from telltick.store.session import SessionReader
from tests.bench_parts.soaked import misplaced_samples, soaking
from tests.engine.sessions import RATE, STARTED, bench_facts

pytestmark = pytest.mark.bench_part

SOAK_S = 780
SOAK_RATE = 8_000
GROWTH_MB = 10.0


def test_minutes_of_session_leave_recorder_and_viewer_as_small_as_they_were(tmp_path):
    """The whole day is tests/benchmarks/soak.py."""
    folder = tmp_path / "s"
    folder.mkdir(mode=0o700)
    with soaking(folder, SOAK_S, SOAK_RATE) as rows:
        seen = list(rows)
    settled = [row for row in seen if row.session_s >= 60]
    assert max(row.recorder_mb for row in settled) - settled[0].recorder_mb <= GROWTH_MB
    assert max(row.viewer_mb for row in settled) - settled[0].viewer_mb <= GROWTH_MB
    assert max(row.descriptors for row in settled) <= 24
    assert max(row.log_mb for row in seen) <= 10
    audio = sum(path.stat().st_size for path in (folder / "audio").iterdir())
    segments = SOAK_S // SEGMENT_S + 1
    assert audio == 2 * SOAK_RATE * SOAK_S + HEADER.size * segments
    assert misplaced_samples(folder, SOAK_S, SOAK_RATE) == 0


@pytest.fixture
def thirty_hours(tmp_path):
    """Thirty hours at 48 kHz, 10 GB of sound: sparse files stand in for it, the last segment is real."""
    folder, hours = tmp_path / "s", 30
    seconds = hours * 3600
    folder.mkdir(mode=0o700)
    with AudioWriter(folder, RATE) as writer:
        writer.write(np.zeros(RATE, dtype=np.int16))
    first = folder / "audio" / segment_name(0)
    header = first.read_bytes()[: HEADER.size]
    for begin in range(0, seconds, SEGMENT_S):
        path = first.with_name(segment_name(begin * RATE))
        with path.open("wb") as file:
            file.write(header)
            file.truncate(HEADER.size + 2 * RATE * SEGMENT_S)
    with path.open("r+b") as file:  # the last one
        file.seek(HEADER.size)
        file.write(np.arange(RATE, dtype="<i2").tobytes())
    with Journal.create(folder, bench_facts()) as journal, journal.batch():
        for second in range(0, seconds, 10):
            journal.add_anchor(Anchor(0, second * RATE, second * NS, STARTED + second * NS))
        journal.end(Ending(seconds * NS, "time is up"))
    return folder, seconds


def test_a_session_beyond_a_day_and_beyond_four_gigabytes_opens_at_once(thirty_hours, record_property):
    folder, seconds = thirty_hours
    size = sum(path.stat().st_size for path in (folder / "audio").iterdir())
    assert size > 10e9
    before = os.times()
    with SessionReader(folder) as reader:
        assert reader.audio.samples == seconds * RATE
        assert reader.end_ns == seconds * NS
        last = (seconds - SEGMENT_S) * RATE
        assert list(reader.audio.read(last - 1, 3)) == [0, 0, 1]  # sample numbers beyond 2**32
        assert last > 2**32
    feed = SavedFeed(folder)
    feed.seek(round((seconds - 30) * NS))
    picture = feed.look(View())
    feed.close()
    used = os.times()
    record_property("cpu_s", used.user + used.system - before.user - before.system)
    assert picture.phase in (Phase.PLAYING, Phase.PAUSED)
    assert picture.duration_ns == seconds * NS


def test_sample_numbers_reach_the_end_of_the_segments_names():
    """Twelve digits: 10**12 samples are 240 days at 48 kHz, 60 at 192 kHz."""
    assert len(segment_name(60 * 86_400 * 192_000)) == len("000000000000.wav")
