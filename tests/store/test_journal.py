"""The journal keeps what it was told, whoever else writes."""

from __future__ import annotations

import shutil
import sqlite3
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from telltick.model.clock import NS, Anchor
from telltick.model.errors import BadInputError, BadSessionError, StorageError
from telltick.model.marks import MarkKind, Origin
from telltick.model.session import SCHEMA, Ending, Gap, GapKind, HealthNote, Outcome, Verb
from telltick.store.journal import Journal
from telltick.store.session import SessionReader
from tests.store.scene import FACTS, poll_at


def rows(folder, query):
    db = sqlite3.connect(folder / "journal.sqlite")
    try:
        return db.execute(query).fetchall()
    finally:
        db.close()


def test_a_new_journal_holds_all_its_facts(folder, journal):
    assert SessionReader(folder).facts == FACTS


def test_the_schema_version_and_its_record_were_written_together(folder, journal):
    assert rows(folder, "PRAGMA user_version") == [(SCHEMA,)]
    assert rows(folder, "SELECT version FROM migration") == [(version,) for version in range(1, SCHEMA + 1)]
    assert rows(folder, "PRAGMA journal_mode") == [("wal",)]


def test_a_second_journal_in_one_folder_is_refused(folder, journal):
    with pytest.raises(BadInputError, match="already holds a session"):
        Journal.create(folder, FACTS)


def test_a_failed_creation_leaves_no_session_behind(folder, monkeypatch):
    def fail(db):
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr("telltick.store.journal.migrate", fail)
    with pytest.raises(StorageError, match="disk is full"):
        Journal.create(folder, FACTS)
    assert not (folder / "journal.sqlite").exists()
    monkeypatch.undo()
    Journal.create(folder, FACTS).close()


def test_everything_added_is_read_back(folder, journal):
    bursts, poll = poll_at(0, NS)
    journal.add_anchor(Anchor(0, 0, 5, 6))
    journal.add_bursts(bursts)
    journal.add_poll(poll)
    journal.add_health(HealthNote(7, "clipping", 3.5, "loud"))
    gap = Gap(GapKind.OVERFLOW, 10, 20, None, "xrun")
    number = journal.open_gap(gap)
    reader = SessionReader(folder)
    assert reader.gaps == (gap,)
    journal.close_gap(number, 11, 30)
    journal.end(Ending(40, "requested", "by hand"))
    assert reader.refresh()
    assert reader.gaps == (Gap(GapKind.OVERFLOW, 11, 20, 30, "xrun"),)
    assert reader.anchors == (Anchor(0, 0, 5, 6),)
    assert reader.bursts == tuple(bursts)
    assert reader.polls == (poll,)
    assert reader.health == (HealthNote(7, "clipping", 3.5, "loud"),)
    assert reader.ending == Ending(40, "requested", "by hand")


def test_a_batch_is_all_or_nothing(folder, journal):
    def fail_half_way():
        with journal.batch():
            journal.add_health(HealthNote(1, "one"))
            with journal.batch():
                journal.add_health(HealthNote(2, "two"))
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail_half_way()
    assert SessionReader(folder).health == ()
    with journal.batch():
        journal.add_health(HealthNote(3, "three"))
    assert len(SessionReader(folder).health) == 1


def test_a_closed_gap_must_have_been_opened(journal):
    with pytest.raises(ValueError, match="no gap 7"):
        journal.close_gap(7, 1, 2)


def test_a_mark_is_restated_and_withdrawn_without_losing_what_it_said_before(folder, journal):
    mark = journal.add_mark(t_ns=5, kind=MarkKind.CHANGE, factor="antenna")
    assert mark.hands_on
    settled = replace(mark, settled_ns=9, value="dummy load")
    journal.restate_mark(settled)
    reader = SessionReader(folder)
    assert reader.marks == (settled,)
    journal.withdraw_mark(settled)
    reader.refresh()
    assert reader.marks == ()
    assert [(row.mark.value, row.withdrawn) for row in reader.mark_rows] == [
        (None, False), ("dummy load", False), ("dummy load", True),
    ]  # fmt: skip


def test_plain_marks_and_notes_are_settled_where_they_stand(journal):
    for kind in (MarkKind.PLAIN, MarkKind.NOTE):
        assert journal.add_mark(t_ns=5, kind=kind).settled_ns == 5


def test_a_mark_that_was_never_made_cannot_be_restated(journal):
    mark = journal.add_mark(t_ns=5, kind=MarkKind.PLAIN, origin=Origin.PROGRAM)
    with pytest.raises(ValueError, match="no mark 99"):
        journal.withdraw_mark(replace(mark, number=99))


def test_several_writers_never_share_a_mark_number(folder, journal):
    def write():
        with Journal.open(folder) as other:
            for _ in range(40):
                other.add_mark(t_ns=1, kind=MarkKind.PLAIN)

    threads = [threading.Thread(target=write) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    numbers = [mark.number for mark in SessionReader(folder).marks]
    assert sorted(numbers) == list(range(1, 161))


def test_one_journal_may_be_used_from_several_threads(folder, journal):
    def write():
        for _ in range(50):
            with journal.batch():
                journal.add_mark(t_ns=1, kind=MarkKind.PLAIN)
                journal.add_health(HealthNote(1, "x"))

    threads = [threading.Thread(target=write) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    reader = SessionReader(folder)
    assert len(reader.marks) == len(reader.health) == 150


def test_requests_are_pending_until_their_outcome(folder, journal):
    with Journal.open(folder) as viewer:
        first = viewer.add_request(1, Verb.SET_BAUD, "19200")
        second = viewer.add_request(2, Verb.FINISH)
    assert journal.pending_requests() == (first, second)
    journal.add_outcome(Outcome(first.number, 3, done=True))
    assert journal.pending_requests() == (second,)


def test_a_request_made_before_the_recorder_first_looks_is_not_overlooked(tmp_path, monkeypatch):
    real, asked = Path.rename, []

    def asked_at_once(draft, path):
        """The journal has just appeared in the folder, and somebody is quicker than the recorder."""
        real(draft, path)
        with Journal.open(tmp_path) as viewer:
            asked.append(viewer.add_request(1, Verb.FINISH))

    monkeypatch.setattr(Path, "rename", asked_at_once)
    with Journal.create(tmp_path, FACTS) as recorder:
        assert asked
        assert recorder.changed()
        assert [request.verb for request in recorder.pending_requests()] == [Verb.FINISH]


def test_only_the_writing_of_others_counts_as_a_change(folder, journal):
    assert journal.changed()  # the first time
    assert not journal.changed()
    journal.add_health(HealthNote(1, "own"))
    assert not journal.changed()
    with Journal.open(folder) as viewer:
        viewer.add_request(1, Verb.FINISH)
    assert journal.changed()
    assert not journal.changed()


def test_an_ended_session_is_one_plain_file(folder, journal):
    journal.end(Ending(1, "requested"))
    journal.close()
    assert [path.name for path in folder.iterdir()] == ["journal.sqlite"]
    SessionReader(folder).close()
    assert [path.name for path in folder.iterdir()] == ["journal.sqlite"]


def test_late_notes_are_added_while_a_replay_reads(folder, journal):
    journal.end(Ending(1, "requested"))
    journal.close()
    reader = SessionReader(folder)
    with Journal.open(folder) as late:
        late.add_mark(t_ns=5, kind=MarkKind.NOTE, note="seen later", late=True)
        assert reader.refresh()
        assert [mark.note for mark in reader.marks] == ["seen later"]


def test_a_reader_that_stays_does_not_keep_the_log_from_shrinking(folder, journal):
    reader = SessionReader(folder)
    for number in range(3000):
        journal.add_bursts(poll_at(number, number * NS)[0])
        if number % 50 == 0:
            reader.refresh()
    assert (folder / "journal.sqlite-wal").stat().st_size < 6_000_000


def test_a_locked_journal_is_explained(folder, journal, monkeypatch):
    monkeypatch.setattr("telltick.store.journal.BUSY_S", 0.05)
    blocker = sqlite3.connect(folder / "journal.sqlite", isolation_level=None)
    blocker.execute("BEGIN IMMEDIATE")
    other = Journal.open(folder)
    with pytest.raises(StorageError, match="locked"):
        other.add_health(HealthNote(1, "x"))
    blocker.execute("ROLLBACK")
    other.add_health(HealthNote(1, "x"))
    blocker.close()


def test_a_full_disk_is_explained_and_writing_goes_on_when_there_is_room(folder, journal):
    journal._db.execute("PRAGMA max_page_count = 30")  # SQLite's own way to run out of room
    notes = (HealthNote(number, "x", note="y" * 2000) for number in range(10_000))
    with pytest.raises(StorageError, match="disk is full"):
        list(map(journal.add_health, notes))
    kept = len(SessionReader(folder).health)
    journal._db.execute("PRAGMA max_page_count = 100000")
    journal.add_health(HealthNote(1, "again"))
    assert len(SessionReader(folder).health) == kept + 1


def test_a_folder_that_is_no_session_cannot_be_opened(tmp_path):
    with pytest.raises(BadSessionError, match="not a session"):
        Journal.open(tmp_path)


def test_a_session_that_ends_while_it_is_watched_is_whole_without_its_log(folder, journal, tmp_path):
    reader = SessionReader(folder)
    journal.add_health(HealthNote(1, "x"))
    journal.end(Ending(1, "requested"))
    journal.close()
    copy = tmp_path / "copy"
    copy.mkdir()
    shutil.copy(folder / "journal.sqlite", copy)
    assert SessionReader(copy).ending == Ending(1, "requested")
    assert reader.refresh()
    reader.close()
    Journal.open(folder).close()  # whoever leaves last tidies up
    assert [path.name for path in folder.iterdir()] == ["journal.sqlite"]
