"""The live view of sessions whose recorder is at work, has ended, or was killed."""

from __future__ import annotations

import dataclasses
import time

import pytest

from telltick.engine import live
from telltick.engine.live import LiveFeed
from telltick.engine.offline import measure_session
from telltick.model.clock import NS, Anchor
from telltick.model.marks import MarkKind
from telltick.model.session import Ending, HealthNote, Outcome, Verb
from telltick.model.snapshot import Phase, View
from telltick.store.journal import Journal
from telltick.store.lock import hold
from telltick.store.segments import AudioWriter
from telltick.store.session import SessionReader
from tests.engine.sessions import RATE, STARTED, add_traffic, bench_facts, rendered, write_rendered

SECONDS = 20.0


@pytest.fixture
def folder(tmp_path):
    """A session that began twenty seconds ago, all of it written, not ended."""
    session = rendered(seconds=SECONDS)
    facts = dataclasses.replace(bench_facts(), started_mono_ns=time.monotonic_ns() - round(SECONDS * NS))
    with Journal.create(tmp_path, facts) as journal, AudioWriter(tmp_path, RATE) as writer:
        writer.write(session.audio)
        journal.add_anchor(Anchor(0, 0, 0, STARTED))
        add_traffic(journal, session.bursts, session.polls)
    return tmp_path


def test_a_recorder_at_work_is_seen_at_work(folder):
    with hold(folder):
        feed = LiveFeed(folder)
        picture = feed.look(View())
        assert picture.phase is Phase.RECORDING
        assert feed.moment_ns() >= round(SECONDS * NS)
        # The newest sound is shown where it was made on the line: one latency ago.
        assert picture.now_ns == pytest.approx((SECONDS - 0.063) * NS, abs=0.07 * NS)
        assert picture.polling.on
        assert picture.polling.polls == len(rendered(seconds=SECONDS).polls)
        feed.close()


def test_before_the_first_audio_it_is_starting(tmp_path):
    with Journal.create(tmp_path, bench_facts()):
        pass
    with hold(tmp_path):
        feed = LiveFeed(tmp_path)
        assert feed.look(View()).phase is Phase.STARTING
        feed.close()


def test_a_killed_recorder_is_told_from_one_that_ended(folder):
    feed = LiveFeed(folder)
    assert feed.look(View()).phase is Phase.STOPPED
    feed.close()


def test_marks_on_a_session_whose_recorder_is_gone_lie_at_its_end(folder):
    feed = LiveFeed(folder)
    feed.plain_mark()
    (mark,) = feed.look(View()).marks
    assert mark.t_ns == round(SECONDS * NS)
    feed.close()


def test_an_ended_session_is_told_with_how_it_ended_and_measures_as_offline(tmp_path):
    folder = write_rendered(tmp_path / "s", rendered(seconds=SECONDS))
    feed = LiveFeed(folder)
    for _ in range(3):
        picture = feed.look(View())
    feed.close()
    assert picture.phase is Phase.ENDED
    assert picture.notices[-1] == "session ended: time is up"
    with SessionReader(folder) as reader:
        offline = measure_session(reader).whole
    assert picture.step.polls == pytest.approx(offline.polls, abs=1)
    assert picture.step.excess_db.value == pytest.approx(offline.excess_db.value, abs=0.05)


def test_what_became_of_requests_and_troubles_is_said(folder):
    with hold(folder):
        feed = LiveFeed(folder)
        feed.ask(Verb.SET_BAUD, "7")
        with Journal.open(folder) as recorder:
            (request,) = recorder.pending_requests()
            recorder.add_outcome(Outcome(request.number, 5 * NS, False, "baud: must be 50 to 4000000, not 7"))
            recorder.add_health(HealthNote(6 * NS, "serial lost", 0.0, "the cable is out"))
        assert feed.look(View()).notices == (
            "refused: baud: must be 50 to 4000000, not 7",
            "serial lost: the cable is out",
        )
        feed.close()


def test_a_session_that_ends_while_it_is_watched_is_seen_to_end(folder):
    with hold(folder):
        feed = LiveFeed(folder)
        assert feed.look(View()).phase is Phase.RECORDING
        with Journal.open(folder) as recorder:
            recorder.end(Ending(round(SECONDS * NS), "requested"))
        assert feed.look(View()).phase is Phase.ENDED
        assert feed.moment_ns() == round(SECONDS * NS)
        feed.close()


def test_marks_made_after_the_recording_has_ended_are_late_ones(folder):
    with hold(folder):
        feed = LiveFeed(folder)
        feed.look(View())
        feed.plain_mark()
        with Journal.open(folder) as journal:
            journal.end(Ending(round(SECONDS * NS), "requested"))
        feed.plain_mark()
        feed.close()
    with SessionReader(folder) as reader:
        assert [mark.late for mark in reader.marks] == [False, True]


def test_joining_a_session_whose_recorder_was_killed_makes_late_marks(folder):
    feed = LiveFeed(folder)
    feed.add_note("what I remember")
    feed.close()
    with SessionReader(folder) as reader:
        assert reader.marks[0].late


def test_late_replies_and_garbage_are_counted_by_the_notes_that_stand_for_several(folder):
    with Journal.open(folder) as journal:
        for kind, count in (("late reply", 1.0), ("late reply", 7.0), ("serial garbage", 2.0), ("echo", 1.0)):
            journal.add_health(HealthNote(NS, kind, count, "words"))
        journal.add_health(HealthNote(2 * NS, "incomplete reply", 0.0, "from an older program"))
        journal.add_health(HealthNote(10**15, "late reply", 5.0, "later than shown"))
    with hold(folder):
        feed = LiveFeed(folder)
        polling = feed.look(View()).polling
        feed.close()
    assert (polling.late, polling.garbage) == (8, 3)


def test_a_long_watch_lets_go_of_polls_and_still_counts_them_all(folder, monkeypatch):
    monkeypatch.setattr(live, "KEEP_POLLS_NS", 5 * NS)
    monkeypatch.setattr(live, "FORGET_EVERY_NS", 5 * NS)
    every = rendered(seconds=SECONDS).polls
    with hold(folder):
        feed = LiveFeed(folder)
        before = feed.look(View()).polling
        held = len(feed._reader.polls)
        after = feed.look(View()).polling
        feed.close()
    assert held == sum(poll.sent_ns >= (SECONDS - 5) * NS for poll in every)
    assert (before.polls, before.replies) == (after.polls, after.replies) == (len(every), len(every))


def test_the_journal_is_read_with_every_other_look_but_at_once_for_what_was_written_here(folder):
    tenth = rendered(seconds=SECONDS).audio[: RATE // 10].tobytes()
    with hold(folder), (folder / "audio" / f"{0:012d}.wav").open("ab") as sound:
        feed = LiveFeed(folder)
        feed.look(View())

        def marks_after(write):
            write()
            sound.write(tenth)
            sound.flush()
            return len(feed.look(View()).marks)

        def by_another_viewer():
            with Journal.open(folder) as journal:
                journal.add_mark(t_ns=NS, settled_ns=NS, kind=MarkKind.PLAIN)

        assert marks_after(feed.plain_mark) == 1
        assert marks_after(by_another_viewer) == 1
        assert marks_after(lambda: None) == 2  # a fifth of a second after the last one
        by_another_viewer()
        assert len(feed.look(View()).marks) == 3  # no sound comes in: nothing to wait for
        feed.close()
