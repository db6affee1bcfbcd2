"""Sound of which the journal does not tell yet is never taken for quiet; what hinders a recording is said."""

from __future__ import annotations

import dataclasses
import time

import pytest

from telltick.engine.hindrance import LOCKED
from telltick.engine.live import LiveFeed
from telltick.engine.offline import measure_session
from telltick.engine.replay import SavedFeed
from telltick.model.clock import NS, Anchor
from telltick.model.readings import Verdict
from telltick.model.session import Gap, GapKind, HealthNote
from telltick.model.snapshot import View
from telltick.store.journal import Journal
from telltick.store.lock import hold
from telltick.store.segments import AudioWriter
from telltick.store.session import SessionReader
from tests.engine.sessions import RATE, STARTED, add_traffic, bench_facts, rendered

SECONDS, TOLD_S = 60, 40


class Recording:
    """A session at work: its sound is all there, its journal reaches as far as the test says."""

    def __init__(self, folder) -> None:
        self.folder = folder
        self._session = rendered(seconds=float(SECONDS))
        self._told_s = 0
        began_ns = time.monotonic_ns() - SECONDS * NS
        facts = dataclasses.replace(bench_facts(), started_mono_ns=began_ns)
        self._journal = Journal.create(folder, facts)
        with AudioWriter(folder, RATE) as writer:
            writer.write(self._session.audio)

    def tell_until(self, end_s: int) -> None:
        """Journal what came since the last call."""
        begin_ns, end_ns = self._told_s * NS, end_s * NS
        with self._journal.batch():
            for second in range(self._told_s, end_s):
                self._journal.add_anchor(Anchor(0, second * RATE, second * NS, STARTED + second * NS))
            bursts = [one for one in self._session.bursts if begin_ns <= one.start_ns < end_ns]
            polls = [one for one in self._session.polls if begin_ns <= one.sent_ns < end_ns]
            add_traffic(self._journal, bursts, polls)
        self._told_s = end_s

    def note(self, kind: str, t_s: float) -> None:
        """Journal a trouble."""
        self._journal.add_health(HealthNote(round(t_s * NS), kind, 1.0, "words"))

    def open_gap(self, t_s: float) -> None:
        """Journal that sound stopped."""
        self._journal.open_gap(Gap(GapKind.DISK_FULL, round(t_s * RATE), round(t_s * NS), None))

    def close(self) -> None:
        self._journal.close()


@pytest.fixture
def recording(tmp_path):
    recording = Recording(tmp_path)
    yield recording
    recording.close()


@pytest.fixture
def feed(recording):
    """A live view of it, its recorder at work."""
    with hold(recording.folder):
        feed = LiveFeed(recording.folder)
        yield feed
        feed.close()


def seen(feed: LiveFeed):
    """The picture once all that the view wants of the past is read; each look is a thorough one."""
    for _ in range(3):
        feed._thorough = ((), None)
        picture = feed.look(View())
    return picture


def test_while_the_journal_is_locked_no_reading_is_given_and_the_reason_is(recording, feed):
    recording.tell_until(TOLD_S)
    picture = seen(feed)
    assert picture.window.verdict is Verdict.TOO_FEW
    assert picture.window.excess_db is None
    assert "locked by another program" in picture.window.warnings[0]
    assert picture.health.advice == LOCKED


def test_sound_beyond_the_journal_counts_neither_as_quiet_nor_as_polled(recording, feed):
    """A step of which 40 s of 60 are told reads as those 40 s do alone."""
    recording.tell_until(TOLD_S)
    step = seen(feed).step
    with SessionReader(recording.folder) as reader:
        told = sum(burst.start_ns < (TOLD_S - 1) * NS and burst.direction == "tx" for burst in reader.bursts)
        offline = measure_session(reader).whole
    assert step.seconds <= TOLD_S
    assert told - 6 <= step.polls <= told + 6
    assert step.excess_db.value == pytest.approx(offline.excess_db.value, abs=0.05)
    assert step.noise_dbfs == pytest.approx(offline.noise_dbfs, abs=0.05)


def test_once_the_lock_is_gone_all_of_it_reads_as_if_it_had_never_been(recording, feed):
    recording.tell_until(TOLD_S)
    seen(feed)
    recording.tell_until(SECONDS)
    picture = seen(feed)
    assert picture.health.advice != LOCKED
    assert picture.window.verdict is Verdict.TIED
    fresh = LiveFeed(recording.folder)
    never = seen(fresh)
    fresh.close()
    assert picture.step.polls == pytest.approx(never.step.polls, abs=1)
    assert picture.step.excess_db.value == pytest.approx(never.step.excess_db.value, abs=0.02)
    assert picture.window.excess_db.value == pytest.approx(never.window.excess_db.value, abs=0.02)


def test_a_view_that_joins_during_the_lock_reads_what_is_told(recording):
    recording.tell_until(TOLD_S)
    with hold(recording.folder):
        feed = LiveFeed(recording.folder)
        assert seen(feed).step.verdict is Verdict.TIED
        feed.close()


def test_what_a_recorder_killed_during_a_lock_could_not_tell_is_left_out_and_said(recording):
    recording.tell_until(TOLD_S)
    with SessionReader(recording.folder) as reader:
        found = measure_session(reader)
    assert found.whole.seconds <= TOLD_S
    assert any("s of audio are not measured" in words for words in found.warnings)
    feed = SavedFeed(recording.folder)
    feed.seek(SECONDS * NS)
    assert seen(feed).step.seconds <= TOLD_S
    feed.close()


def test_a_session_that_is_told_to_its_end_is_measured_to_its_end(recording):
    recording.tell_until(SECONDS)
    with SessionReader(recording.folder) as reader:
        found = measure_session(reader)
    assert found.whole.seconds > SECONDS - 1
    assert not any("not measured" in words for words in found.warnings)


@pytest.mark.parametrize(
    ("notes", "words"),
    [
        (["serial watch failed"], "begin another"),
        (["serial watch failed", "serial back"], "begin another"),
        (["serial lost"], "check its cable"),
        (["serial lost", "serial back"], None),
        (["serial garbage"], None),
    ],
)
def test_a_line_that_is_heard_no_more_is_told_for_as_long_as_that_lasts(recording, feed, notes, words):
    recording.tell_until(SECONDS)
    for second, kind in enumerate(notes):
        recording.note(kind, 10.0 + second)
    for kind in ["clipping"] * 9:  # would push it out of the notices
        recording.note(kind, 30.0)
    advice = seen(feed).health.advice
    assert (words in advice) if words else advice == ""


def test_sound_that_does_not_come_in_is_told_before_the_line(recording, feed):
    recording.tell_until(SECONDS)
    recording.note("serial lost", 50.0)
    recording.open_gap(SECONDS - 0.5)
    assert "the disk is full" in seen(feed).health.advice
