"""The main screen keeps calm: scrolling, stray keys, faults, locks and first seconds change nothing else."""

from dataclasses import replace

from telltick.model.readings import Reading
from telltick.ui.widgets.prompt import PromptRows
from telltick.ui.widgets.spectrum import SpectrumPlot
from tests.ui.fake_feed import FakeFeed, FakeReplay
from tests.ui.on_screen import lines_of, text_of_screen, until
from tests.ui.session_app import SIZE, app_for, on_session, type_in


async def test_the_journal_scrolls_by_pages():
    feed = FakeReplay(at_s=3000.0, tick_s=0.0)
    for k in range(40):
        feed.add_note(f"entry {k:02d}")
    async with on_session(feed) as (app, pilot):
        await until(pilot, lambda: "entry 39" in text_of_screen(app))
        await pilot.press("pageup", "pageup")
        await until(pilot, lambda: "newer below" in text_of_screen(app))
        assert "entry 39" not in text_of_screen(app)
        await pilot.press("pagedown", "pagedown")
        await until(pilot, lambda: "entry 39" in text_of_screen(app))


async def test_tab_goes_nowhere_harmful():
    feed = FakeFeed()
    async with on_session(feed) as (app, pilot):
        await pilot.press("tab", "shift+tab", "x")
        assert app.focused is None
        assert len(feed.marks) == 1
        await pilot.press("n", "tab")
        await type_in(pilot, "still here")
        await pilot.press("enter")
        assert feed.marks[-1].note == "still here"


async def test_the_prompt_keeps_its_words_when_its_size_is_told_late():
    async with on_session(FakeReplay(tick_s=0.0)) as (app, pilot):
        await pilot.press("n")
        await until(pilot, lambda: "note, noted late" in text_of_screen(app))
        for rows in app.session.query(PromptRows):
            rows.on_resize()
        for words in ("note, noted late", " write: ", "Esc leave"):
            assert words in text_of_screen(app)


async def test_what_goes_wrong_with_a_picture_is_logged_with_its_traceback(caplog):
    feed = FakeFeed()
    async with on_session(feed) as (_, pilot):
        feed.fault = RuntimeError("the disk is on strike")
        await until(pilot, lambda: "on strike" in caplog.text)
        assert "Traceback" in caplog.text


async def test_a_saved_session_names_no_key_for_a_coin_trial():
    for feed, key in ((FakeFeed(), "d"), (FakeReplay(), "")):
        async with on_session(feed, size=(80, 24)) as (app, _):
            assert app.session.key_of("coin trial") == key


class Emptied(FakeFeed):
    """A session that has nothing to show for a moment after the latency was locked, as a real one has."""

    empty_looks = 0

    def lock_latency(self, *, locked):
        super().lock_latency(locked=locked)
        self.empty_looks = 20

    def look(self, view):
        snapshot = super().look(view)
        self.empty_looks -= 1
        return replace(snapshot, spectrum=None) if self.empty_looks > 0 else snapshot


async def test_the_spectrum_stays_while_a_lock_of_the_latency_empties_the_window():
    feed = Emptied(tick_s=0.0)
    app = app_for(feed)
    async with app.run_test(size=SIZE) as pilot:
        await until(pilot, lambda: "rise while bytes flow" in text_of_screen(app))
        plot = app.session.query_one(SpectrumPlot)
        await until(pilot, lambda: "dB at" in text_of_screen(app))
        await pilot.press("L")
        await until(pilot, lambda: "latency locked" in text_of_screen(app))
        while feed.empty_looks > 0:
            plot._drawn_s = 0.0  # as if it were due at every look
            app.session._ask_for_picture()
            await pilot.pause()
            assert "audio comes in" not in text_of_screen(app)
            assert "dB at" in text_of_screen(app)


async def test_nothing_is_drawn_as_a_rise_before_there_is_a_reading():
    feed = FakeFeed(excess_db=1.2)
    feed.reading = Reading(3, 0.6, warnings=("Not enough polls for a reading: 9 more are needed.",))
    app = app_for(feed)
    async with app.run_test(size=SIZE) as pilot:
        await until(pilot, lambda: "polls too few yet" in text_of_screen(app))
        feed.reading = None
        await until(pilot, lambda: "dB at" in text_of_screen(app))


async def test_in_replay_a_small_screen_names_the_keys_that_move_it_and_the_results():
    async with on_session(FakeReplay(), size=(80, 24)) as (app, _):
        keys = lines_of(app)[-1]
        for words in ("[ ] speed", "5 s", ", . marks", "e hear", "s so far", "? help", "q quit"):
            assert words in keys
