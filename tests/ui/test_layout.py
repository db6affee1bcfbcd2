from hypothesis import given
from hypothesis import strategies as st

from telltick.ui.layout import Box, arrange

EVERYTHING = {"header", "spectrum", "strip", "journal", "meter", "setup", "health", "notice", "footer"}


def cells(box: Box) -> set[tuple[int, int]]:
    return {(x, y) for x in range(box.x, box.x + box.width) for y in range(box.y, box.y + box.height)}


@given(st.integers(1, 260), st.integers(1, 80))
def test_panels_lie_within_the_terminal_and_never_over_each_other(width, height):
    taken: set[tuple[int, int]] = set()
    for box in arrange(width, height).values():
        inside = cells(box)
        assert box.width > 0
        assert box.height > 0
        assert not inside & taken
        assert all(0 <= x < width and 0 <= y < height for x, y in inside)
        taken |= inside


@given(st.integers(80, 260), st.integers(24, 80))
def test_from_80x24_on_everything_is_shown_with_room_for_what_matters(width, height):
    boxes = arrange(width, height)
    assert set(boxes) == EVERYTHING
    assert boxes["meter"].width >= 30
    assert boxes["meter"].height >= 12
    assert boxes["spectrum"].height >= 8
    assert boxes["strip"].height >= 7
    assert boxes["setup"].height >= 6
    assert boxes["health"].height >= 3
    assert boxes["journal"].height >= 4


def test_the_four_usual_sizes_leave_no_row_unused():
    for width, height in ((80, 24), (100, 30), (120, 40), (200, 60)):
        boxes = arrange(width, height)
        for side in (("spectrum", "strip", "journal"), ("meter", "setup", "health")):
            assert sum(boxes[name].height for name in side) == height - 3


def test_a_tiny_terminal_keeps_the_numbers():
    assert set(arrange(60, 20)) == {"header", "meter", "journal", "notice", "footer"}
    assert "header" in arrange(10, 1)
