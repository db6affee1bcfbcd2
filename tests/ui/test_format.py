import math

import pytest

from telltick.model.clock import NS
from telltick.model.readings import Estimate
from telltick.ui.format import clock, db, interval, percent, short_clock, span, wall


@pytest.mark.parametrize("value", [0.0, -0.04, 6.24, -12.3, 48.0, -99.9, None, math.nan, -math.inf])
def test_levels_always_take_the_same_width(value):
    assert len(db(value)) == 5
    assert len(db(value, 6)) == 6


def test_what_cannot_be_had_is_dashes_and_never_a_number():
    assert db(None).strip() == db(math.nan).strip() == "--.-"


def test_a_level_that_rounds_to_zero_has_no_minus():
    assert db(-0.04).strip() == "0.0"
    assert db(-0.04, sign=True).strip() == "0.0"


def test_intervals_keep_their_width_with_and_without_numbers():
    assert interval(Estimate(6.2, 5.9, 6.5)) == "  5.9 to 6.5  "
    assert len(interval(None)) == len(interval(Estimate(0.1, -12.3, 12.4)))


def test_times_are_read_as_clocks():
    assert clock(3_725 * NS + 999_999_999) == "1:02:05"
    assert short_clock(3_725 * NS) == "62:05"
    assert short_clock(-NS) == "00:00"
    assert [span(9.6), span(180), span(3 * 3600 + 300)] == ["10 s", "3 min", "3 h 05"]


def test_wall_time_is_the_time_where_the_session_was_recorded():
    # 2026-05-02 19:03:00 UTC is 1777748580 s after the Unix epoch (GNU date).
    assert wall(1_777_748_580 * NS, 65 * NS, 0) == "19:04:05"
    assert wall(1_777_748_580 * NS, 0, -4 * 3600) == "15:03:00"


def test_only_all_of_them_is_a_hundred_percent():
    assert [percent(3, 3), percent(999, 1000), percent(0, 5), percent(0, 0)] == [
        "100 %",
        " 99 %",
        "  0 %",
        " --  ",
    ]
