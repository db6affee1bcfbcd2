from dataclasses import replace

import numpy as np
import pytest

from telltick.model.clock import NS
from telltick.model.marks import Mark, MarkKind
from telltick.model.snapshot import Strip, View
from telltick.ui.glyphs import ASCII, UNICODE
from telltick.ui.rows import Role, Room, text_of, width_of
from telltick.ui.scales import LevelScale
from telltick.ui.widgets.strip import MARGIN, StripPicture, cell_ns_for, draw_strip
from tests.ui import fake_feed

SCALE = LevelScale(-70, -50)


def small(head: int = 14, marks=(), envelope=None) -> Strip:
    tx = np.zeros(20, bool)
    rx = np.zeros(20, bool)
    tx[[2, 10]] = True
    rx[[3, 11]] = True
    level = np.full(20, -60.0) if envelope is None else envelope
    level[[3, 11]] = -52.0
    return Strip(60 * NS, 100_000_000, head, tx, rx, level, marks)


def drawn(strip, glyphs=ASCII, width=MARGIN + 20, height=9) -> list[str]:
    return [text_of(line) for line in draw_strip(strip, SCALE, Room(width, height, glyphs), lambda m: "a")]


def test_bytes_both_ways_stand_under_the_sound_they_go_with():
    rows = drawn(small())
    assert rows[2][MARGIN + 3] == rows[2][MARGIN + 11] == "#"
    assert rows[5][MARGIN:] == "  ^       ^   |     "
    assert rows[6][MARGIN:] == "   v       v  |     "


def test_sound_is_solid_only_where_it_rises_while_bytes_flow():
    loud = np.full(20, -60.0)
    loud[6] = -52.0  # a static crash between polls
    rows = drawn(small(envelope=loud))
    assert rows[2][MARGIN + 6] == ":"
    assert rows[2][MARGIN + 3] == "#"


def test_a_poll_without_interference_is_not_solid():
    strip = small()
    strip.envelope_dbfs[:] = -60.0
    assert "#" not in "".join(drawn(strip))


def test_the_sweep_keeps_old_columns_and_shows_where_it_is():
    rows = drawn(small(head=14))
    assert rows[4][MARGIN + 13 : MARGIN + 17] == ":| :"


def test_times_left_of_the_sweep_are_new_and_right_of_it_old():
    axis = drawn(small(head=14))[-1]
    assert axis[MARGIN:].startswith("'01:00")
    assert axis.startswith("time")
    right = drawn(small(head=4), width=MARGIN + 20)[-1]
    assert "'00:59" in right


def test_marks_stand_under_their_column():
    mark = Mark(1, 61 * NS, None, MarkKind.CHANGE, "antenna")
    row = drawn(small(marks=((9, mark),)))[-2]
    assert row == "marks" + " " * 10 + "a" + " " * 10


def test_a_late_mark_has_a_colour_of_its_own():
    mark = Mark(1, 61 * NS, 61 * NS, MarkKind.NOTE, late=True)
    rows = draw_strip(small(marks=((9, mark),)), SCALE, Room(MARGIN + 20, 9, UNICODE), lambda m: "n")
    assert [run.role for run in rows[-2] if run.text.startswith("n")] == [Role.LATE]


def test_gaps_in_the_sound_stay_empty():
    strip = small()
    strip.envelope_dbfs[5:9] = np.nan
    for line in drawn(strip)[1:5]:
        assert line[MARGIN + 5 : MARGIN + 9] == "    "


@pytest.mark.parametrize(
    ("interval_s", "cell_ms"), [(0.2, 50), (1.0, 200), (0.05, 10), (0.01, 5), (5.0, 1000), (None, 50)]
)
def test_a_column_is_about_a_quarter_of_a_poll(interval_s, cell_ms):
    assert cell_ns_for(interval_s) == cell_ms * 1_000_000


def test_zooming_takes_longer_and_shorter_columns_until_there_are_no_more():
    assert [cell_ns_for(0.2, zoom) // 1_000_000 for zoom in (-9, -1, 0, 1, 9)] == [5, 20, 50, 100, 5000]


def test_polls_too_dense_to_part_are_told_by_their_share_of_time():
    share = np.full(20, 0.5)
    strip = replace(small(), tx=share > 0, rx=share > 0, tx_share=share, rx_share=share / 4)
    rows = drawn(strip, UNICODE, width=80)
    assert "share of time" in rows[0]
    assert set(rows[5][MARGIN : MARGIN + 14]) == {"▄"}
    assert set(rows[6][MARGIN : MARGIN + 14]) == {"▁"}
    assert "a column; polls too dense" not in drawn(small(), UNICODE, width=80)[0]


def test_a_picture_drawn_on_shows_what_a_new_one_would():
    room = Room(MARGIN + 80, 10, UNICODE)
    kept = StripPicture(room, SCALE, lambda m: "a")
    marks = fake_feed.scripted_marks()
    for at_s in [*np.arange(298, 306, 0.1), 20.0, 700.2, 305.0]:
        for excess_db in (6.0, 0.0):
            strip = fake_feed.strip(View(strip_cells=80), int(at_s * NS), excess_db, marks)
            assert kept.draw(strip) == StripPicture(room, SCALE, lambda m: "a").draw(strip)


@pytest.mark.parametrize("glyphs", [ASCII, UNICODE], ids=["ascii", "unicode"])
@pytest.mark.parametrize(("width", "height"), [(49, 7), (79, 10), (141, 13)])
@pytest.mark.parametrize("now_s", [0.0, 0.01, 3.0, 3600.0])
def test_rows_fill_the_room_exactly(width, height, now_s, glyphs):
    strip = fake_feed.strip(View(strip_cells=width - MARGIN), int(now_s * NS), 6.0)
    rows = draw_strip(strip, SCALE, Room(width, height, glyphs), lambda m: "a")
    assert len(rows) == height
    assert {width_of(line) for line in rows} == {width}
