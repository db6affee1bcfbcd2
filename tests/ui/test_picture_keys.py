"""Reading the pictures: the spectrum's cursor, span and hold, the strip's scale; by key and by mouse."""

from telltick.model.plan import Settings
from telltick.ui.app import TelltickApp
from telltick.ui.widgets.spectrum import MARGIN, SpectrumPlot
from telltick.ui.widgets.strip import ActivityStrip
from tests.ui.fake_feed import FakeFeed
from tests.ui.on_screen import lines_of, text_of_screen, until

SIZE = (120, 40)


def app_for(feed) -> TelltickApp:
    return TelltickApp(feed, Settings(), ascii_only=False, environ={"COLORTERM": "truecolor"})


async def ready(pilot, feed) -> SpectrumPlot:
    await until(pilot, lambda: feed.looks > 2 and "quiet" in text_of_screen(pilot.app))
    return pilot.app.session.query_one(SpectrumPlot)


def title(app) -> str:
    return lines_of(app)[1]


async def test_the_cursor_comes_up_at_the_highest_rise_moves_and_goes_away():
    feed = FakeFeed()
    app = app_for(feed)
    async with app.run_test(size=SIZE) as pilot:
        plot = await ready(pilot, feed)
        highest = plot._columns.highest_rise(plot._band)
        await pilot.press("(")
        await until(pilot, lambda: f"{highest[1]:4.0f} Hz" in title(app))
        step_hz = float(plot._columns.centre_hz[1] - plot._columns.centre_hz[0])
        await pilot.press(")", ")")
        await until(pilot, lambda: f"{highest[1] + 2 * step_hz:4.0f} Hz" in title(app))
        await pilot.press("C")
        await until(pilot, lambda: "Hz  quiet" not in title(app))


async def test_the_mouse_puts_the_cursor_where_it_clicks_and_takes_it_away():
    feed = FakeFeed()
    app = app_for(feed)
    async with app.run_test(size=SIZE) as pilot:
        plot = await ready(pilot, feed)
        hz = f"{plot._columns.centre_hz[20]:4.0f} Hz"
        await pilot.click(SpectrumPlot, offset=(MARGIN + 20, 5))
        await until(pilot, lambda: hz in title(app))
        await pilot.click(SpectrumPlot, offset=(MARGIN + 20, 8))
        await until(pilot, lambda: hz not in title(app))


async def test_the_span_goes_from_all_to_the_band_to_close_about_the_cursor():
    feed = FakeFeed()
    app = app_for(feed)
    async with app.run_test(size=SIZE) as pilot:
        plot = await ready(pilot, feed)
        await pilot.press("C", "z")
        await until(pilot, lambda: "spectrum: 300 to 2700 Hz" in text_of_screen(app))
        await pilot.press("z")
        await until(pilot, lambda: plot._sight.span_hz[1] - plot._sight.span_hz[0] == 1000)
        low, high = plot._sight.span_hz
        assert low < plot._sight.cursor_hz < high
        await pilot.press("z")
        await until(pilot, lambda: "spectrum: 0 to 3400 Hz" in text_of_screen(app))


async def test_a_held_spectrum_stands_still_and_says_since_when():
    feed = FakeFeed(at_s=712.0)
    app = app_for(feed)
    async with app.run_test(size=SIZE) as pilot:
        plot = await ready(pilot, feed)
        await pilot.press("F")
        await until(pilot, lambda: "spectrum held at 0:11:5" in title(app))
        rows, looks = list(plot.rows), feed.looks
        feed.now_ns += 60_000_000_000
        await until(pilot, lambda: feed.looks > looks + 4)
        assert list(plot.rows) == rows
        await pilot.press("F")
        await until(pilot, lambda: "held" not in title(app) and list(plot.rows) != rows)


async def test_the_strip_shows_more_or_less_time():
    feed = FakeFeed()
    app = app_for(feed)
    async with app.run_test(size=SIZE) as pilot:
        await ready(pilot, feed)
        strip = app.session.query_one(ActivityStrip)
        for key, cell_ms in (("}", 100), ("{", 50), ("{", 20)):
            await pilot.press(key)
            await until(pilot, lambda ms=cell_ms: strip._strip.cell_ns == ms * 1_000_000)
            assert f"{cell_ms} ms a column" in text_of_screen(app)
