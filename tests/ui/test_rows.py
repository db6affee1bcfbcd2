import pytest
from rich.cells import cell_len

from telltick.ui.glyphs import ASCII, UNICODE
from telltick.ui.rows import (
    Canvas,
    Role,
    Room,
    Run,
    fit,
    framed,
    row,
    rule,
    shorten,
    spread,
    text_of,
    width_of,
)


def test_neighbours_of_one_role_become_one_run():
    line = row(Run("a", Role.KEY), Run("b", Role.KEY), Run(""), "c")
    assert line == (Run("ab", Role.KEY), Run("c", Role.TEXT))


@pytest.mark.parametrize("text", ["", "short", "exactly ten", "much longer than ten cells", "日本語の無線局"])
def test_a_fitted_row_has_the_width_asked_for_whatever_it_holds(text):
    assert width_of(fit(row(text), 10)) == 10


def test_text_that_does_not_fit_is_cut_at_a_cell_and_says_so():
    assert shorten("Larkfell hut", 8) == "Larkfe.."
    assert shorten("Larkfell", 8) == "Larkfell"
    assert cell_len(shorten("日本語の無線局", 7)) <= 7
    assert [shorten("abc", n) for n in (0, 1, 2)] == ["", ".", ".."]


def test_left_gives_way_to_right():
    assert text_of(spread(row("a long left side"), row("right"), 10)) == "a lonright"


def test_a_title_takes_the_fullest_legend_that_fits():
    full, short = row("a legend of many words"), row("few")
    assert text_of(rule("x", Room(40, 1, ASCII), full, short)) == "- x ----------- a legend of many words -"
    assert text_of(rule("x", Room(20, 1, ASCII), full, short)) == "- x ---------- few -"
    assert text_of(rule("x", Room(8, 1, ASCII), full, short)) == "- x ----"


def test_a_frame_fills_its_room():
    rows = framed("title", [row("one")], Room(12, 4, UNICODE))
    assert [text_of(line) for line in rows] == [
        "│─ title ──│",
        "│one       │",
        "│          │",
        "│──────────│",
    ]


def test_a_canvas_drops_what_lies_outside_and_keeps_runs_short():
    canvas = Canvas(5, 2)
    canvas.put(3, 0, "abc", Role.KEY)
    canvas.put(-1, 1, "xy", Role.BAD)
    canvas.put(0, 7, "z", Role.BAD)
    assert [text_of(line) for line in canvas.rows()] == ["   ab", "y    "]
    assert [len(line) for line in canvas.rows()] == [2, 1]
