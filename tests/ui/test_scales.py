import math

from hypothesis import given
from hypothesis import strategies as st

from telltick.ui.scales import REACHES_DB, LevelScale, held_reach, level_ticks

LEVELS = st.floats(-130, 0)


@given(LEVELS, LEVELS)
def test_an_axis_holds_the_levels_it_was_made_for(one, other):
    low, high = sorted((one, other))
    scale = LevelScale.around(low, high, 30.0)
    assert scale.bottom_db <= low
    assert high <= scale.top_db
    assert scale.top_db - scale.bottom_db >= 30


@given(LEVELS, st.floats(0, 40), st.lists(st.floats(-2, 2), max_size=30))
def test_an_axis_does_not_follow_small_wanderings(low, span, wanderings):
    scale = LevelScale.around(low, low + span, 30.0)
    moved = 0
    for by in wanderings:
        after = scale.holding(low + by, low + span + by)
        assert after.bottom_db <= low + by
        assert low + span + by <= after.top_db
        moved += after != scale
        scale = after
    assert moved <= 2  # once up and once down, then there is room for both


def test_an_axis_moves_when_levels_leave_it_and_when_they_use_little_of_it():
    scale = LevelScale(-100, -70)
    assert scale.holding(-99, -65) == LevelScale(-100, -60)
    assert LevelScale(-120, -60).holding(-99, -75) == LevelScale(-100, -70)
    assert LevelScale(-110, -60).holding(-99, -75) == LevelScale(-110, -60)
    assert scale.holding(math.nan, math.nan) == scale


def test_ticks_are_tens_that_leave_room_for_their_labels():
    assert level_ticks(LevelScale(-110, -80), 16) == [-110, -100, -90, -80]
    assert level_ticks(LevelScale(-110, -50), 6) == [-100, -80, -60]


def test_the_meters_scale_grows_at_once_and_shrinks_late():
    assert held_reach(12.0, 13.0) == 24.0
    assert held_reach(24.0, 7.0) == 24.0
    assert held_reach(24.0, 5.0) == 6.0
    assert held_reach(12.0, 100.0) == REACHES_DB[-1]
