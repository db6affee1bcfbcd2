"""The result pages in the real app: measuring with progress, turning, choosing, details, refreshing."""

import threading

import pytest

from telltick.model.clock import NS
from telltick.model.errors import StorageError
from telltick.model.marks import Mark, MarkKind
from telltick.model.plan import Settings
from telltick.model.snapshot import Phase
from telltick.ui.app import TelltickApp
from telltick.ui.screens.help import HelpScreen
from telltick.ui.screens.results import ResultsScreen
from tests.ui.fake_feed import FakeFeed, FakeReplay
from tests.ui.on_screen import lines_of, text_of_screen, until

COLOURS = {"TERM": "xterm-256color"}
SIZES = [(80, 24), (100, 30), (120, 40), (200, 60)]


def app_for(feed: FakeFeed, *, ascii_only: bool = False, environ=COLOURS, **settings) -> TelltickApp:
    return TelltickApp(feed, Settings(**settings), ascii_only=ascii_only, environ=environ)


async def opened(pilot, *keys: str) -> None:
    """Press keys on a session that is being shown."""
    await until(pilot, lambda: pilot.app.session.desk.snapshot.now_ns > 0)
    await pilot.press(*keys)


async def shows(pilot, *words: str) -> str:
    await until(pilot, lambda: all(word in text_of_screen(pilot.app) for word in words))
    return text_of_screen(pilot.app)


async def test_one_key_measures_and_shows_the_steps_with_intervals_and_verdicts():
    app = app_for(FakeFeed())
    async with app.run_test(size=(120, 40)) as pilot:
        await opened(pilot, "s")
        page = await shows(pilot, "[1 STEPS]", "whole session", "antenna: dummy load")
        assert "+15.6  15.4 to 15.7 " in page
        assert "+ tied to polling" in page
        assert "12 s more" in page
        assert "RECORDING" in lines_of(app)[0]  # one glance still tells


async def test_the_pages_turn_by_digit_tab_and_arrow():
    app = app_for(FakeFeed())
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(pilot, "s")
        await shows(pilot, "as it began")
        for keys, words in (
            (["2"], "[2 CHANGES]"),
            (["tab"], "[3 FINDINGS]"),
            (["right"], "[1 STEPS]"),
            (["left"], "[3 FINDINGS]"),
            (["shift+tab"], "[2 CHANGES]"),
            (["1"], "[1 STEPS]"),
        ):
            await pilot.press(*keys)
            await shows(pilot, words)


async def test_measuring_shows_how_far_it_is_and_escape_gives_it_up():
    feed = FakeFeed()
    feed.measuring_waits = threading.Event()
    app = app_for(feed)
    async with app.run_test(size=(100, 30)) as pilot:
        await opened(pilot, "s")
        await shows(pilot, "measuring ▓▓▓", "42 %", "left", "Esc stops it", "Recording goes on")
        await pilot.press("escape")
        await shows(pilot, "measuring was stopped")
        assert isinstance(app.screen, ResultsScreen)
        feed.measuring_waits.set()
        await pilot.press("s")
        await shows(pilot, "as it began")
        await pilot.press("escape")
        await until(pilot, lambda: app.screen is app.session)


async def test_old_results_stay_while_new_ones_are_measured_or_given_up():
    feed = FakeFeed()
    app = app_for(feed)
    async with app.run_test(size=(100, 30)) as pilot:
        await opened(pilot, "s")
        await shows(pilot, "as it began")
        feed.measuring_waits = threading.Event()
        await pilot.press("s")
        await shows(pilot, "42 %", "as it began")
        await pilot.press("escape")
        await shows(pilot, "measuring was stopped", "as it began")


async def test_a_measurement_that_fails_is_told_and_never_ends_the_screen():
    feed = FakeFeed()

    def fails(progress):
        raise StorageError("the disk is gone")

    feed.measure = fails
    app = app_for(feed)
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(pilot, "s")
        await shows(pilot, "measuring failed: the disk is gone")
        await pilot.press("escape")
        await until(pilot, lambda: app.screen is app.session)


async def test_results_are_measured_again_by_themselves_when_a_step_ends():
    feed = FakeFeed(at_s=100.0)
    app = app_for(feed)
    async with app.run_test(size=(100, 30)) as pilot:
        await opened(pilot, "s")
        await shows(pilot, "as it began")
        await until(pilot, lambda: not app.session.measuring.busy)
        before = feed.measured
        feed.marks.append(Mark(1, feed.now_ns - NS, feed.now_ns, MarkKind.CHANGE, "antenna", "dummy load"))
        await until(pilot, lambda: feed.measured == before + 1)
        await until(pilot, lambda: not app.session.measuring.busy)
        looks = feed.looks
        await until(pilot, lambda: feed.looks > looks + 5)
        assert feed.measured == before + 1
        feed.phase = Phase.ENDED
        await until(pilot, lambda: feed.measured == before + 2)


async def test_a_saved_session_is_measured_once_and_again_on_the_key():
    feed = FakeReplay()
    app = app_for(feed)
    async with app.run_test(size=(100, 30)) as pilot:
        await opened(pilot, "s")
        await shows(pilot, "as it began")
        await pilot.press("escape", "s")
        await shows(pilot, "as it began")
        assert feed.measured == 1
        await pilot.press("s")
        await until(pilot, lambda: feed.measured == 2)


async def test_enter_opens_what_a_line_rests_on_and_escape_closes_it():
    app = app_for(FakeFeed())
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(pilot, "s")
        await shows(pilot, "as it began")
        await pilot.press("down", "down", "enter")
        page = await shows(pilot, "Step 2", "noise floor N", "antenna")
        assert "+15.55 dB (95 %: +15.43 to +15.67)" in page
        await pilot.press("escape", "2", "enter")
        page = await shows(pilot, "after less before", "I stayed at -34.5 dBFS")
        assert "p, beyond the bound" in page
        await pilot.press("escape", "3", "down", "enter")
        page = await shows(pilot, "RULED OUT", "why such numbers say so")
        assert "Common practice, no source." in page
        await pilot.press("escape", "escape")
        await until(pilot, lambda: app.screen is app.session)


async def test_the_choice_stays_where_it_was_after_details():
    app = app_for(FakeFeed())
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(pilot, "s")
        await shows(pilot, "as it began")
        await pilot.press("down", "down", "down")
        await until(pilot, lambda: any(line.startswith("▸ 3 ") for line in lines_of(app)))
        await pilot.press("enter")
        await shows(pilot, "Step 3")
        await pilot.press("escape")
        await until(pilot, lambda: any(line.startswith("▸ 3 ") for line in lines_of(app)))


async def test_a_change_key_on_a_page_marks_at_once_and_asks_on_the_main_screen():
    feed = FakeFeed()
    app = app_for(feed)
    async with app.run_test(size=(100, 30)) as pilot:
        await opened(pilot, "s", "3")
        await shows(pilot, "press v  supply")
        await pilot.press("v")
        assert feed.marks[-1].factor == "supply"
        await shows(pilot, "HANDS ON supply", "new value")
        await pilot.press(*"battery", "enter")
        assert feed.marks[-1].value == "battery"


async def test_a_mark_and_undo_work_on_a_page_without_leaving_it():
    feed = FakeFeed()
    app = app_for(feed)
    async with app.run_test(size=(100, 30)) as pilot:
        await opened(pilot, "s")
        await shows(pilot, "as it began")
        await pilot.press("x")
        await shows(pilot, "marked")
        assert [mark.kind for mark in feed.marks] == [MarkKind.PLAIN]
        await pilot.press("u")
        await shows(pilot, "withdrawn: mark")
        assert feed.marks == []
        assert isinstance(app.screen, ResultsScreen)


async def test_help_opens_at_what_the_page_shows():
    app = app_for(FakeFeed())
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(pilot, "s", "2")
        await shows(pilot, "[2 CHANGES]", "antenna")
        await pilot.press("?")
        await until(pilot, lambda: isinstance(app.screen, HelpScreen))
        await shows(pilot, "results: changes", "Two one-sided t tests", "Holm")
        await pilot.press("escape")
        await shows(pilot, "[2 CHANGES]")


async def test_leaving_keys_close_a_page_and_the_toolkits_own_still_asks():
    app = app_for(FakeFeed())
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(pilot, "s")
        await shows(pilot, "as it began")
        await pilot.press("q")
        await until(pilot, lambda: app.screen is app.session)
        await pilot.press("s")
        await shows(pilot, "as it began")
        await pilot.press("ctrl+q")
        await shows(pilot, "stop and save")


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("ascii_only", [False, True], ids=["unicode", "ascii"])
async def test_every_page_fits_every_size_in_ascii_too(size, ascii_only):
    app = app_for(FakeFeed(), ascii_only=ascii_only)
    async with app.run_test(size=size) as pilot:
        for keys, words in (
            (("s", "1"), "as it began"),
            (("2",), "CHANGED"),
            (("3",), "SUPPORTED"),
            (("escape", "m"), "CARRIES IT"),
        ):
            await opened(pilot, *keys)
            page = await shows(pilot, words)
            assert not ascii_only or page.isascii(), words
            assert lines_of(app)[-1].rstrip().endswith("Esc back")


async def test_a_page_survives_resizing_down_to_nothing():
    app = app_for(FakeFeed())
    async with app.run_test(size=(120, 40)) as pilot:
        await opened(pilot, "s", "3")
        await shows(pilot, "SUPPORTED")
        for size in ((20, 5), (1, 1), (300, 10), (40, 12), (79, 23)) * 2:
            await pilot.resize_terminal(*size)
        await pilot.resize_terminal(80, 24)
        await shows(pilot, "[3 FINDINGS]", "SUPPORTED", "Esc back")
        await pilot.press("escape")
        await shows(pilot, "meter", "q quit")


async def test_without_colour_verdicts_are_words_and_no_segment_carries_any():
    app = app_for(FakeFeed(), environ={"TERM": "xterm-256color", "NO_COLOR": "1"})
    async with app.run_test(size=(100, 30)) as pilot:
        await opened(pilot, "s", "3")
        await shows(pilot, "+ SUPPORTED", "- RULED OUT", "? UNDECIDED", "! CONTRADICTORY", ". NOT TESTED")
        for panel in app.screen.query("Panel"):
            for y in range(panel.size.height):
                for segment in panel.render_line(y):
                    style = segment.style
                    assert style is None or style.color is None or style.color.is_default
