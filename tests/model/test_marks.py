"""Marks: append-only rows, the setup carried forward, the steps they cut."""

from __future__ import annotations

from dataclasses import replace

from telltick.model.clock import NS
from telltick.model.marks import Mark, MarkKind, MarkRow, setup_at, standing_marks, steps_of


def change(number: int, begin_s: float, settled_s: float | None, factor: str, value: str | None) -> Mark:
    settled = None if settled_s is None else int(settled_s * NS)
    return Mark(number, int(begin_s * NS), settled, MarkKind.CHANGE, factor, value)


def spans(steps) -> list[tuple[float, float]]:
    return [(step.start_ns / NS, step.end_ns / NS) for step in steps]


def test_the_newest_row_of_a_mark_counts_and_a_withdrawn_mark_is_gone():
    opened = change(1, 10, None, "antenna", None)
    settled = change(1, 10, 14, "antenna", "dummy load")
    plain = Mark(2, 20 * NS, 20 * NS, MarkKind.PLAIN)
    rows = [MarkRow(3, plain), MarkRow(2, settled), MarkRow(1, opened), MarkRow(4, plain, withdrawn=True)]
    assert standing_marks(rows) == (settled,)


def test_the_setup_is_carried_forward_from_change_to_change():
    marks = [change(1, 10, 12, "antenna", "dummy load"), change(2, 20, None, "cable", None)]
    assert setup_at(11 * NS, {"antenna": "beam"}, marks) == {"antenna": "beam"}
    assert setup_at(30 * NS, {"antenna": "beam"}, marks) == {"antenna": "dummy load"}


def test_changes_cut_the_session_and_hands_on_time_is_left_out():
    marks = [change(1, 10, 14, "antenna", "dummy load"), change(2, 30, 35, "cable", "B")]
    steps = steps_of({"antenna": "beam"}, marks, 0, 60 * NS)
    assert spans(steps) == [(0, 10), (14, 30), (35, 60)]
    assert steps[1].setup == {"antenna": "dummy load"}
    assert [step.changed for step in steps] == [(), ("antenna",), ("cable",)]


def test_changes_whose_hands_on_times_overlap_belong_together():
    marks = [change(1, 10, 20, "antenna", "dummy load"), change(2, 15, 18, "cable", "B")]
    steps = steps_of({}, marks, 0, 60 * NS)
    assert spans(steps) == [(0, 10), (20, 60)]
    assert steps[1].changed == ("antenna", "cable")


def test_a_change_under_way_ends_the_last_step():
    assert spans(steps_of({}, [change(1, 10, None, "antenna", None)], 0, 60 * NS)) == [(0, 10)]


def test_plain_marks_and_notes_do_not_cut():
    marks = [Mark(1, 5 * NS, 5 * NS, MarkKind.PLAIN), Mark(2, 6 * NS, 6 * NS, MarkKind.NOTE, note="rain")]
    assert spans(steps_of({}, marks, 0, 60 * NS)) == [(0, 60)]


def test_a_change_added_after_the_session_does_not_cut_what_was_measured():
    late = replace(change(1, 10, 12, "antenna", "dummy load"), late=True)
    assert spans(steps_of({}, [late], 0, 60 * NS)) == [(0, 60)]
