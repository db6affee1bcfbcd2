"""Sheets, bars and the tables of results, drawn into fixed rooms; help pages; numbers that stand still."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from telltick.model.answers import NO_ANSWERS
from telltick.model.readings import Estimate, Reading
from telltick.model.replies import Replies
from telltick.ui.explain import PANELS, TOPICS
from telltick.ui.glyphs import ASCII, UNICODE
from telltick.ui.keymap import Keymap
from telltick.ui.rows import Room, row, text_of, width_of
from telltick.ui.scales import Still
from telltick.ui.screens.help import draw_topic
from telltick.ui.widgets.bars import Span, Stretched, axis, bar, place
from telltick.ui.widgets.changes import changes_sheet
from telltick.ui.widgets.details import details
from telltick.ui.widgets.findings import findings_sheet
from telltick.ui.widgets.footer import draw_hints
from telltick.ui.widgets.sheet import Item, Sheet, Sight, draw_sheet, in_view
from telltick.ui.widgets.steps import step_line, steps_sheet
from tests.ui.fake_feed import tied
from tests.ui.results import answers, measurement

ROOMS = [(80, 20), (100, 26), (120, 36), (200, 56), (60, 8)]
key_of = Keymap().for_factor


def lines(sheet: Sheet, size, glyphs=ASCII, sight=None) -> list[str]:
    room = Room(*size, glyphs)
    return [text_of(line) for line in draw_sheet(sheet, in_view(sheet, sight or Sight(), size[1]), room)]


def sheets(room: Room) -> dict[str, Sheet]:
    return {
        "steps": steps_sheet(measurement(), room),
        "changes": changes_sheet(answers(), room),
        "findings": findings_sheet(answers(), room, key_of),
    }


@pytest.mark.parametrize("size", ROOMS, ids=str)
@pytest.mark.parametrize("glyphs", [UNICODE, ASCII], ids=["unicode", "ascii"])
@pytest.mark.parametrize("name", ["steps", "changes", "findings"])
def test_a_table_never_is_wider_or_higher_than_its_room(size, glyphs, name):
    room = Room(*size, glyphs)
    sheet = sheets(room)[name]
    for at in (None, *sheet.choices):
        rows = draw_sheet(sheet, in_view(sheet, Sight(at), size[1]), room)
        assert len(rows) <= size[1]
        assert max(width_of(line) for line in rows) <= size[0]
        assert not glyphs.ascii or all(text_of(line).isascii() for line in rows)


@pytest.mark.parametrize("size", ROOMS, ids=str)
def test_details_of_every_line_fit_in_width(size):
    room = Room(*size, ASCII)
    known = answers()
    for about in (measurement(), *measurement().steps, *known.setups, *known.changes, *known.findings,
                  *known.next_tests):  # fmt: skip
        rows = details(about, room, key_of)
        assert rows
        assert max(width_of(line) for line in rows) <= size[0] - 2
        assert all(text_of(line).isascii() for line in rows)


def test_the_sheet_of_the_whole_session_tells_how_the_radio_answered():
    polled = replace(measurement().polling, replies=Replies(83, 82, 1, median_ms=5.04, p95_ms=6.2))
    rows = [
        text_of(line)
        for line in details(replace(measurement(), polling=polled), Room(100, 36, ASCII), key_of)
    ]
    told = "82 of 83 polls, 5.0 ms after the request (95 % within 6.2 ms), 1"
    assert any(line.startswith("replies ") and told in line for line in rows)
    unpolled = replace(measurement(), polling=replace(polled, replies=None))
    assert not any("replies" in text_of(line) for line in details(unpolled, Room(100, 36, ASCII), key_of))


def test_the_steps_at_eighty_columns():
    assert lines(steps_sheet(measurement(), Room(80, 20, ASCII)), (80, 20))[:8] == [
        "  #   what changed  polls     N     I    dB       0   24 dB verdict   +-0.5 dB  ",
        "> all whole session   313 -44.6 -37.8  +7.6 +-1.9 --=#----- + tied              ",
        "  1   as it began      89 -40.1 -34.6  +6.6 +-0.1 --#------ + tied    reached   ",
        "  2   dummy load       74 -50.0 -34.6 +15.6 +-0.1 -----#--- + tied    reached   ",
        "  3   choke: fitted    64 -50.0 -42.6  +8.2 +-0.1 ---#----- + tied    reached   ",
        "  4   cable: B         53 -50.0 -56.0  +1.0 +-0.7 #=------- + tied    12 s more ",
        "  5   polling: off      0 -50.0  --.-  --.-       --------- . too few           ",
        "  6   polling: on      33 -50.0 -55.9  +1.0 +-0.8 #=------- + tied    14 s more ",
    ]


def test_what_changed_is_cut_between_its_parts_where_it_is_long():
    first, *_ = measurement().steps
    setup = {"polling": "off", "coin trial": "off"}
    line = step_line(replace(first, step=replace(first.step, setup=setup, changed=tuple(setup))), ASCII)
    assert line.words(40) == "polling: off, coin trial: off"
    assert line.words(28) == "polling off, coin trial off"
    assert line.words(13) == "polling off.."
    assert line.words(6) == "poll.."


def test_a_change_is_drawn_on_one_scale_with_zero_and_bound():
    page = lines(changes_sheet(answers(), Room(100, 30, ASCII)), (100, 30))
    assert page[0].startswith("> 1 antenna: beam -> dummy load ")
    assert "= no change within 1 dB" in page[0]
    noise = next(line for line in page if line.strip().startswith("N"))
    assert noise.index("#") < noise.index(":") < noise.rindex("+", 0) < noise.rindex(":")
    assert "> I " in page[1]  # what the verdict rests on
    assert any("9 comparisons, corrected for by Holm's method" in line for line in page)


def test_several_factors_at_once_blame_none():
    page = "\n".join(lines(changes_sheet(answers(), Room(120, 36, ASCII)), (120, 36)))
    assert "changed together: no single one of them is to blame" in page
    assert "? UNDECIDED, 120 more polls a side" in page


def test_findings_carry_word_sign_reason_steps_and_what_to_press():
    page = "\n".join(lines(findings_sheet(answers(), Room(120, 36, ASCII), key_of), (120, 36)))
    for words in ("+ SUPPORTED", "- RULED OUT", ". NOT TESTED", "! CONTRADICTORY", "? UNDECIDED",
                  "steps 1, 2", "press v", "supply -> battery", "Caution: Never transmit"):  # fmt: skip
        assert words in page


def test_without_changes_or_findings_the_page_says_what_to_do():
    room = Room(80, 20, ASCII)
    assert "Change one thing at a time" in "\n".join(lines(changes_sheet(NO_ANSWERS, room), (80, 20)))
    assert "Nothing has been measured" in "\n".join(lines(findings_sheet(NO_ANSWERS, room, key_of), (80, 20)))


# ---- sheets


@given(st.lists(st.integers(1, 6), min_size=1, max_size=30), st.integers(3, 40), st.integers(0, 40))
def test_the_chosen_item_is_always_in_view(heights, height, at):
    at %= len(heights)
    sheet = Sheet(items=tuple(Item((row(f"item {k}."),) * rows, k) for k, rows in enumerate(heights)))
    shown = lines(sheet, (40, height), sight=Sight(at))
    assert any(line.startswith(f"> item {at}.") for line in shown)
    assert len(shown) <= height


def test_what_is_out_of_sight_is_counted():
    sheet = Sheet(items=tuple(Item((row(f"{k}"),)) for k in range(20)))
    assert lines(sheet, (40, 10), sight=Sight(None, 5))[-1].strip() == "5 more above, 6 more below"


# ---- bars


def test_an_interval_is_drawn_where_it_is():
    drawn = text_of(bar(Estimate(5, 2, 7), Span(0, 10), 11, ASCII))
    assert drawn == "--===#==---"
    assert text_of(bar(None, Span(0, 10), 11, ASCII)) == "-" * 11
    assert text_of(bar(Estimate(math.nan, 1, 2), Span(0, 10), 5, ASCII)) == "-----"
    assert text_of(bar(Estimate(50, 40, 60), Span(0, 10), 5, ASCII)) == "----#"


def test_a_stretched_scale_is_even_handed_and_keeps_its_order():
    scale = Stretched(24.0, 1.0)
    assert place(0.0, scale, 41) == 20
    assert [place(x, scale, 41) + place(-x, scale, 41) for x in (0.5, 1.0, 6.0, 24.0)] == [40] * 4
    places = [place(x, scale, 41) for x in (-24, -6, -1, -0.5, 0, 0.5, 1, 6, 24)]
    assert places == sorted(set(places))


def test_labels_on_an_axis_never_touch():
    text = text_of(axis({0.0: "0", 3.0: "one", 3.5: "one and a half", 10.0: "10 dB"}, Span(0, 10), 20))
    assert text == "0    one       10 dB"


# ---- numbers that stand still


def test_a_number_that_hardly_changes_stands_still():
    still = Still(0.08)
    assert [still.value("x", value) for value in (6.24, 6.26, 6.30, 6.33, 6.30)] == [
        6.24,
        6.24,
        6.24,
        6.33,
        6.33,
    ]
    assert still.value("x", None) is None
    assert still.value("x", 6.30) == 6.30


def test_a_reading_is_held_part_by_part():
    still = Still(0.08)
    still.reading("window", tied(6.20))
    held = still.reading("window", tied(6.25))
    assert held.excess_db == tied(6.20).excess_db
    assert still.reading("window", tied(9.0)) == tied(9.0)
    assert still.reading("window", Reading(3, 2.0)) == Reading(3, 2.0)


# ---- help


@pytest.mark.parametrize("topic", TOPICS)
@pytest.mark.parametrize("glyphs", [UNICODE, ASCII], ids=["unicode", "ascii"])
def test_every_help_page_fits_in_width(topic, glyphs):
    rows = draw_topic(TOPICS[topic], Room(80, 24, glyphs))
    assert max(width_of(line) for line in rows) <= 78
    assert not glyphs.ascii or all(text_of(line).isascii() for line in rows)


def test_every_panel_and_page_of_results_is_explained_with_published_sources():
    assert {*PANELS, "steps", "changes", "findings", "portrait", "trial", "cautions"} == set(TOPICS)
    sources = {term.source for topic in TOPICS.values() for term in topic.terms if term.source}
    assert any("AES17" in source for source in sources)
    assert any("BS.468-4" in source for source in sources)
    assert any("Holm" in source for source in sources)
    assert any("Ville" in source for source in sources)


def test_hints_that_do_not_fit_go_but_help_and_the_way_back_stay():
    hints = [("a", "first"), ("b", "second"), ("c", "third"), ("?", "help"), ("Esc", "back")]
    assert text_of(draw_hints(hints, 30)).rstrip() == " a first  ? help  Esc back"
    assert "c third" in text_of(draw_hints(hints, 60))
