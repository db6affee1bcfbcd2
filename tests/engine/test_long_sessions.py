"""An hour of session opens at once: what is read for the first picture does not grow with the session."""

from __future__ import annotations

import os
import time

import numpy as np
import pytest

from telltick.engine.replay import SavedFeed
from telltick.engine.viewing import KEEP_S, LONG_STEP, SLACK_S
from telltick.model.clock import NS, Anchor
from telltick.model.readings import Verdict
from telltick.model.session import Ending
from telltick.model.snapshot import View
from telltick.store.journal import Journal
from tests.engine.sessions import RATE, STARTED, bench_facts, moved, rendered, write_audio

MINUTES = 60
SEGMENT_MINUTES = 10
POLLS_A_SECOND = 5


@pytest.fixture(scope="module")
def hour(tmp_path_factory):
    """One rendered minute, sixty times; the segments share their bytes on disk."""
    folder = tmp_path_factory.mktemp("hour")
    minute = rendered(9, 60.0)
    write_audio(folder, [minute.audio] * SEGMENT_MINUTES)
    first = folder / "audio" / f"{0:012d}.wav"
    for segment in range(1, MINUTES // SEGMENT_MINUTES):
        os.link(first, first.with_name(f"{segment * SEGMENT_MINUTES * 60 * RATE:012d}.wav"))
    polls = max(burst.poll for burst in minute.bursts) + 1
    with Journal.create(folder, bench_facts()) as journal, journal.batch():
        for second in range(MINUTES * 60):
            journal.add_anchor(Anchor(0, second * RATE, second * NS, STARTED + second * NS))
        for number in range(MINUTES):
            journal.add_bursts(moved(minute.bursts, number * 60 * NS, number * polls))
        journal.end(Ending(MINUTES * 60 * NS, "time is up"))
    return folder


@pytest.mark.parametrize("place", [0.0, 0.5, 0.999])
def test_the_first_picture_reads_minutes_of_audio_not_the_hour(hour, samples_read, place, record_property):
    begun_s = time.process_time()
    feed = SavedFeed(hour)
    feed.seek(round(place * MINUTES * 60 * NS))
    picture = feed.look(View())
    record_property("cpu_s", time.process_time() - begun_s)
    feed.close()
    assert sum(samples_read) <= 240 * RATE
    if place:
        assert picture.window.verdict is Verdict.TIED
        assert picture.window.excess_db.value == pytest.approx(rendered(9, 60.0).truth[0].excess_db, abs=0.5)


def test_later_pictures_read_only_what_is_new(hour, samples_read):
    clock = [0]
    feed = SavedFeed(hour, clock_ns=lambda: clock[0])
    feed.seek(100 * NS)
    for _ in range(5):
        feed.look(View())
    samples_read.clear()
    for _ in range(10):
        clock[0] += NS // 5
        feed.look(View())
    feed.close()
    # Each picture reads the last ten seconds for the level; measuring adds a little around the new audio.
    assert np.mean(samples_read) <= 12 * RATE
    assert sum(samples_read) <= 10 * 30 * RATE


def test_a_long_step_keeps_only_its_last_ten_minutes_in_memory_and_says_so(hour):
    clock = [0]
    feed = SavedFeed(hour, speed=64, clock_ns=lambda: clock[0])
    feed.seek(60 * NS)
    held = []
    while clock[0] < 24 * NS:  # at 64x this plays nearly half of the hour
        clock[0] += NS // 2
        picture = feed.look(View())
        held.append(picture.step.polls)
    feed.close()
    assert max(held) <= (KEEP_S + SLACK_S) * POLLS_A_SECOND * 1.02
    assert picture.step.seconds == pytest.approx(KEEP_S, abs=SLACK_S + 60)
    assert LONG_STEP in picture.step.warnings
    assert picture.step.excess_db.value == pytest.approx(rendered(9, 60.0).truth[0].excess_db, abs=0.3)
