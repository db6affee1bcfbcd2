"""The screen at its sizes, in ASCII, with sixteen colours and with none."""

import pytest

from telltick.model.plan import Settings
from telltick.model.snapshot import InputHealth
from telltick.ui.app import TelltickApp
from telltick.ui.rows import text_of
from tests.ui.fake_feed import FakeFeed, FakeReplay, scripted_marks
from tests.ui.on_screen import lines_of, text_of_screen, until
from tests.ui.results import trial

SIZES = [(80, 24), (100, 30), (120, 40), (200, 60)]
BENCH = {
    "antenna": "beam",
    "cable": "A",
    "choke": "none",
    "rf gain": "full",
    "monitor level": "5",
    "supply": "mains",
    "computer": "desk",
    "frequency": "14.100 MHz",
    "baud": "9600",
    "poll interval": "0.2 s",
    "polling": "on",
}
GLANCE = {
    "is it recording": ("RECORDING", "Larkfell hut", "0:11:5"),
    "is the radio polled, does it answer": ("polling 0.2 s 9600", "100 % answered"),
    "is there interference": ("TIED TO POLLING", "I/N +5.0 dB", "-57.3 dBFS"),
    "how sure is that": ("5.9 to 6.5 dB", "142 polls"),
    "is the input healthy": ("input", "recorder alive", "no clipping", "no gaps"),
    "pictures": (
        "spectrum",
        "quiet",
        "floor",
        "rise",
        "Hz",
        "polls and sound",
        "ask",
        "reply",
        "marks",
        "time",
    ),
    "journal and keys": ("journal", "mark", "? help", "q quit"),
}
# What the scripted marks leave; the top line shows what belongs to the poller.
SETUP_LEFT = BENCH | {"antenna": "dummy load", "cable": "B", "choke": "fitted"}
IN_TOP_LINE = ("baud", "poll interval", "polling")
TERMINALS = {
    "many colours": {"TERM": "xterm-256color"},
    "sixteen": {"TERM": "linux"},
    "none": {"TERM": "xterm-256color", "NO_COLOR": "1"},
}


def app_for(feed, *, ascii_only=False, environ=TERMINALS["many colours"]) -> TelltickApp:
    return TelltickApp(feed, Settings(), ascii_only=ascii_only, environ=environ)


async def shown(pilot, feed) -> None:
    await until(pilot, lambda: feed.looks > 1 and pilot.app.session.desk.snapshot.now_ns > 0)
    await until(pilot, lambda: "dB" in text_of_screen(pilot.app) and "polls" in text_of_screen(pilot.app))


def live() -> FakeFeed:
    feed = FakeFeed(at_s=712.0, setup=BENCH)
    feed.marks = list(scripted_marks())
    return feed


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("ascii_only", [False, True], ids=["unicode", "ascii"])
async def test_one_glance_tells_the_six_things_that_matter(size, ascii_only):
    feed = live()
    app = app_for(feed, ascii_only=ascii_only)
    async with app.run_test(size=size) as pilot:
        await shown(pilot, feed)
        await until(pilot, lambda: "100 % answered" in lines_of(app)[0])
        page = text_of_screen(app)
        squeezed = " ".join(page.split())
        for question, words in GLANCE.items():
            assert [word for word in words if word not in squeezed] == [], question
        for factor, value in SETUP_LEFT.items():
            assert factor in IN_TOP_LINE or f"{factor} {value}" in squeezed, factor


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("feed_of", [live, FakeReplay], ids=["live", "replay"])
async def test_in_ascii_mode_there_is_nothing_but_ascii(size, feed_of):
    feed = feed_of()
    feed.add_note("Größe µ → 日本語 • ─")
    app = app_for(feed, ascii_only=True)
    async with app.run_test(size=size) as pilot:
        await shown(pilot, feed)
        for keys in (
            "",
            "a",
            "x escape",
            "n y",
            "escape",
            "b 1 enter",
            "escape",
            "?",
            "escape",
            "ctrl+p",
            "escape",
        ):
            await pilot.press(*keys.split())
            await pilot.pause()
            page = text_of_screen(app)
            assert page.isascii(), (keys, [char for char in page if not char.isascii()])
        if not feed.is_replay:
            await pilot.press("q")
            await until(pilot, lambda: "stop and save" in text_of_screen(app))
            assert text_of_screen(app).isascii()


@pytest.mark.parametrize("terminal", TERMINALS)
async def test_the_verdict_and_every_state_can_be_read_without_colour(terminal):
    feed = live()
    feed.health = InputHealth(
        -3.0, -0.1, clipped=7, gaps=1, last_gap="overflow", advice="lower the audio level"
    )
    app = app_for(feed, environ=TERMINALS[terminal])
    async with app.run_test(size=(120, 40)) as pilot:
        await shown(pilot, feed)
        page = text_of_screen(app)
        for words in (
            "● RECORDING",
            "● polling",
            "TIED TO POLLING",
            "CLIPS 7",
            "1 gap",
            "last gap: overflow",
        ):
            assert words in page
        assert "choke         fitted ◂" in page


async def test_without_colour_no_segment_carries_any():
    feed = live()
    app = app_for(feed, environ=TERMINALS["none"])
    async with app.run_test(size=(80, 24)) as pilot:
        await shown(pilot, feed)
        await pilot.press("a", "x")
        await pilot.pause()
        for panel in app.screen.query("Panel"):
            for y in range(panel.size.height):
                for segment in panel.render_line(y):
                    style = segment.style
                    assert style is None or style.color is None or style.color.is_default
                    assert style is None or style.bgcolor is None or style.bgcolor.is_default


PAGES = {
    "steps": (("s",), ("as it began", "+ tied to polling", ". not enough data")),
    "changes": (("s", "2"), ("! CHANGED", "= no change within 1 dB", "? UNDECIDED")),
    "findings": (
        ("s", "3"),
        ("+ SUPPORTED", "- RULED OUT", "? UNDECIDED", "! CONTRADICTORY", ". NOT TESTED"),
    ),
    "portrait": (("m",), ("CARRIES IT", "ask", "wait", "reply", "0 dB")),
    "trial": (("d",), ("odds against chance", "1000 to 1", "RUNS")),
    "rounds": (("w",), ("guided rounds", "tasks, about", "begins it")),
}
BASE_COLOURS = 16


def coloured(app) -> list[int | None]:
    """Number of each colour on screen: None for colours of one's own, -1 for the terminal's default."""
    numbers: list[int | None] = []
    for panel in app.screen.query("Panel"):
        for y in range(panel.size.height):
            for style in (segment.style for segment in panel.render_line(y)):
                for colour in (style.color, style.bgcolor) if style is not None else ():
                    if colour is not None:
                        numbers.append(-1 if colour.is_default else colour.number)
    return numbers


@pytest.mark.parametrize("terminal", ["sixteen", "none"])
async def test_every_page_says_by_words_and_signs_what_colours_say(terminal):
    feed = live()
    feed.trial = trial(52)
    app = app_for(feed, environ=TERMINALS[terminal])
    allowed = {-1} if terminal == "none" else {-1, *range(BASE_COLOURS)}
    async with app.run_test(size=(120, 40)) as pilot:
        await shown(pilot, feed)
        for page, (keys, words) in PAGES.items():
            await pilot.press(*keys)
            await until(pilot, lambda said=words: all(word in text_of_screen(app) for word in said))
            assert set(coloured(app)) <= allowed, page
            await pilot.press("escape")
            await until(pilot, lambda: app.screen is app.session)


async def test_a_storm_of_resizes_leaves_a_whole_screen():
    feed = live()
    app = app_for(feed)
    async with app.run_test(size=(120, 40)) as pilot:
        await shown(pilot, feed)
        await pilot.press("c")
        for width, height in [
            (80, 24),
            (200, 60),
            (20, 5),
            (1, 1),
            (300, 10),
            (79, 23),
            (100, 30),
            (81, 25),
        ] * 3:
            await pilot.resize_terminal(width, height)
        await pilot.press("escape")
        await pilot.resize_terminal(80, 24)
        looks = feed.looks
        await until(pilot, lambda: feed.looks > looks + 2)
        await until(pilot, lambda: "TIED TO POLLING" in text_of_screen(app) and "q quit" in lines_of(app)[-1])


async def test_only_rows_that_changed_are_drawn_again():
    feed = FakeFeed(at_s=712.0, tick_s=0.0)
    feed.marks = list(scripted_marks())
    app = app_for(feed)
    async with app.run_test(size=(120, 40)) as pilot:
        await shown(pilot, feed)
        looks = feed.looks
        await until(pilot, lambda: feed.looks > looks + 3)  # every panel has asked for what fits its room
        drawn = []
        for panel in app.session.query("Panel"):
            stock = panel.refresh
            panel.refresh = lambda *regions, _id=panel.id, _stock=stock, **how: (
                drawn.append((_id, regions)),
                _stock(*regions, **how),
            )[1]
        looks = feed.looks
        await until(pilot, lambda: feed.looks > looks + 3)
        assert drawn == []  # the same picture again costs nothing
        feed.now_ns += 1_000_000_000
        await until(pilot, lambda: any(_id == "header" for _id, _ in drawn))
        assert all(region.height == 1 for _, regions in drawn for region in regions)
        assert "setup" not in {_id for _id, _ in drawn}


async def test_the_sweep_draws_in_place():
    feed = FakeFeed(at_s=60.0, tick_s=0.0)
    app = app_for(feed)
    async with app.run_test(size=(120, 40)) as pilot:
        await shown(pilot, feed)
        strip = app.session.query_one("#strip")
        await until(pilot, lambda: len(app.session.desk.snapshot.strip.tx) == strip.cells)
        looks = feed.looks
        await until(pilot, lambda: feed.looks > looks + 2)  # the picture of that width has been drawn
        before = list(strip.rows)
        at = strip.rows[2]
        feed.now_ns += 400_000_000
        await until(pilot, lambda: strip.rows[2] != at)
        pairs = [(text_of(a), text_of(b)) for a, b in zip(before, strip.rows, strict=True)]
        differing = sum(x != y for a, b in pairs for x, y in zip(a, b, strict=True))
        assert differing < 0.1 * sum(len(a) for a, _ in pairs)
