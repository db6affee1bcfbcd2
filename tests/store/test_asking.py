"""What a reader that follows a session asks of the journal, and when."""

from __future__ import annotations

import os
import time

import pytest

from telltick.model.clock import NS
from telltick.store import readonly
from telltick.store.session import SessionReader
from tests.store.scene import poll_at, write_session


@pytest.fixture
def log(folder, journal, monkeypatch):
    """Gives the log of the journal an age in seconds; the monotonic clock stands still."""
    monkeypatch.setattr(readonly.time, "monotonic", lambda: 100.0)
    written_ns = time.time_ns()
    monkeypatch.setattr(readonly.time, "time_ns", lambda: written_ns)
    path = folder / "journal.sqlite-wal"
    return lambda age_s: os.utime(path, ns=(0, written_ns - round(age_s * NS)))


def asked_of(reader):
    """Where the queries of a reader are noted from now on."""
    asked: list[str] = []
    reader._journal._db.set_trace_callback(asked.append)
    return asked


def test_a_refresh_asks_the_journal_only_for_what_has_grown(folder, journal, log):
    log(3.0)
    reader = SessionReader(folder)
    asked = asked_of(reader)
    assert not reader.refresh()
    assert asked == []  # nobody has written
    journal.add_bursts(poll_at(0, NS)[0])
    assert reader.refresh()
    assert len(asked) == 2  # which tables have grown, and the bursts
    assert "FROM burst" in asked[-1]
    assert len(reader.bursts) == 2


def test_what_was_written_within_one_tick_of_the_disks_clock_is_not_overlooked(folder, journal, log):
    log(0.001)  # whoever writes now may leave the log as long as it is, and as old
    reader = SessionReader(folder)
    asked = asked_of(reader)
    for count in (1, 2, 3):
        reader.refresh()
        assert len(asked) == count


def test_what_a_disk_tells_no_time_of_is_seen_a_second_later(folder, journal, log, monkeypatch):
    log(3.0)
    reader = SessionReader(folder)
    asked = asked_of(reader)
    reader.refresh()
    assert asked == []
    monkeypatch.setattr(readonly.time, "monotonic", lambda: 101.0)
    reader.refresh()
    assert len(asked) == 1


def test_a_journal_without_a_log_is_asked_whether_anybody_wrote(tmp_path):
    folder = write_session(tmp_path / "s")
    assert not (folder / "journal.sqlite-wal").exists()
    reader = SessionReader(folder)
    asked = asked_of(reader)
    reader.refresh()
    assert asked == ["PRAGMA data_version"]
