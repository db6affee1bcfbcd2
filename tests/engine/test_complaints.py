"""Troubles that repeat themselves: told at once, then gathered; time is the test's."""

from __future__ import annotations

from telltick.engine.complaints import Complaints, Trouble
from telltick.model.clock import NS


def note_of(gathered: Complaints, second: float, kind: str = "serial garbage"):
    return gathered.take(Trouble(kind, f"at {second:g} s", round(second * NS)))


def test_the_first_of_each_kind_is_told_at_once():
    gathered = Complaints()
    first = note_of(gathered, 1.0)
    assert (first.kind, first.value, first.note) == ("serial garbage", 1.0, "at 1 s")
    assert note_of(gathered, 1.1, "late reply").note == "at 1.1 s"


def test_what_follows_closely_is_gathered_into_one_note_with_its_count():
    gathered = Complaints()
    note_of(gathered, 1.0)
    assert [note_of(gathered, 1 + k / 20) for k in range(1, 41)] == [None] * 40
    assert gathered.due(5 * NS) == []
    (note,) = gathered.due(6 * NS)
    assert (note.value, note.note, note.t_ns) == (40.0, "40 times, last: at 3 s", 3 * NS)
    assert gathered.due(20 * NS) == []


def test_an_hour_of_trouble_at_twenty_a_second_is_one_note_each_five_seconds_and_none_is_lost():
    gathered, notes = Complaints(), []
    for k in range(72_000):
        notes += filter(None, [note_of(gathered, k / 20)])
        notes += gathered.due(k * NS // 20)
    notes += gathered.rest(3600 * NS)
    assert len(notes) <= 3600 / 5 + 2
    assert sum(note.value for note in notes) == 72_000


def test_what_is_left_at_the_end_is_told():
    gathered = Complaints()
    note_of(gathered, 1.0)
    note_of(gathered, 1.5)
    assert [note.note for note in gathered.rest(2 * NS)] == ["at 1.5 s"]
