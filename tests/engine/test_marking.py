"""Marks made on screen are in the journal before the key returns."""

from __future__ import annotations

import sqlite3

import pytest

from telltick.engine.marking import Marker
from telltick.model.clock import NS
from telltick.model.errors import JournalLockedError
from telltick.model.marks import MarkKind
from telltick.model.session import SessionFacts, Verb
from telltick.store.journal import Journal
from telltick.store.session import SessionReader


@pytest.fixture
def folder(tmp_path):
    with Journal.create(tmp_path, SessionFacts(name="t", started_wall_ns=0, rate_hz=8000, source="imported")):
        pass
    return tmp_path


class Moment:
    s = 10.0

    def __call__(self) -> int:
        return int(self.s * NS)


@pytest.fixture
def moment() -> Moment:
    return Moment()


def marks_in(folder):
    reader = SessionReader(folder)
    try:
        return reader.marks
    finally:
        reader.close()


def test_a_change_runs_from_its_key_to_its_confirmation(folder, moment):
    pen = Marker(folder, moment, late=False)
    number = pen.open_change("antenna")
    assert marks_in(folder)[0].hands_on
    moment.s = 14.5
    pen.settle_change(number, "dummy load")
    (mark,) = marks_in(folder)
    assert (mark.t_ns, mark.settled_ns) == (10 * NS, int(14.5 * NS))
    assert (mark.factor, mark.value, mark.late) == ("antenna", "dummy load", False)


def test_a_change_left_alone_becomes_a_plain_mark_where_it_began(folder, moment):
    pen = Marker(folder, moment, late=False)
    pen.leave_plain(pen.open_change("cable"))
    (mark,) = marks_in(folder)
    assert mark.kind is MarkKind.PLAIN
    assert mark.settled_ns == mark.t_ns == 10 * NS


def test_a_change_left_running_by_a_lost_viewer_can_be_settled_by_the_next(folder, moment):
    Marker(folder, moment, late=False).open_change("antenna")
    moment.s = 30.0
    pen = Marker(folder, moment, late=False)
    pen.settle_change(pen.adopt(marks_in(folder)[0]), "dummy load")
    (mark,) = marks_in(folder)
    assert (mark.t_ns, mark.settled_ns, mark.value) == (10 * NS, 30 * NS, "dummy load")


def test_a_stroke_on_a_locked_journal_is_refused_and_can_be_made_again(folder, moment, monkeypatch):
    monkeypatch.setattr("telltick.engine.marking.PATIENCE_S", 0.0)
    pen = Marker(folder, moment, late=False)
    pen.add_note("a")
    other = sqlite3.connect(folder / "journal.sqlite", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    for stroke in (pen.undo, pen.plain_mark):
        with pytest.raises(JournalLockedError, match="another program keeps the journal"):
            stroke()
    other.execute("ROLLBACK")
    other.close()
    assert [mark.note for mark in marks_in(folder)] == ["a"]
    assert pen.undo().note == "a"
    assert marks_in(folder) == ()
    assert pen.redo().note == "a"


def test_undo_withdraws_the_newest_mark_and_then_the_one_before(folder, moment):
    pen = Marker(folder, moment, late=False)
    pen.plain_mark()
    pen.add_note("rain on the roof")
    assert pen.undo().note == "rain on the roof"
    assert len(marks_in(folder)) == 1
    assert pen.undo().kind is MarkKind.PLAIN
    assert pen.undo() is None


def test_what_was_withdrawn_stands_again_by_a_row_of_its_own(folder, moment):
    pen = Marker(folder, moment, late=False)
    pen.settle_change(pen.open_change("cable"), "B")
    stood = marks_in(folder)
    pen.undo()
    moment.s = 30.0
    assert pen.redo() == stood[0]
    assert marks_in(folder) == stood
    assert pen.redo() is None
    with SessionReader(folder) as reader:
        assert [row.withdrawn for row in reader.mark_rows] == [False, False, True, False]
    pen.undo()
    assert marks_in(folder) == ()
    assert marks_in(folder) == ()


def test_marks_made_on_a_saved_session_are_kept_apart_as_late(folder, moment):
    Marker(folder, moment, late=True).add_note("heard it again on replay")
    assert marks_in(folder)[0].late


def test_a_request_waits_in_the_journal_for_the_recorder(folder, moment):
    Marker(folder, moment, late=False).ask(Verb.SET_BAUD, "19200")
    with Journal.open(folder) as journal:
        (request,) = journal.pending_requests()
    assert (request.verb, request.value) == (Verb.SET_BAUD, "19200")
