"""The reduced stream shows what the toolkit's own shows; checked in pyte, a terminal emulator of others."""

from __future__ import annotations

import importlib
import inspect
import random

import pytest
from rich.color import ColorSystem
from rich.console import Console
from rich.segment import Segment
from rich.style import Style
from textual._compositor import Compositor, LayoutUpdate
from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.geometry import Region
from textual.screen import ModalScreen, Screen
from textual.strip import Strip
from textual.widgets import Input, Label, Static

from telltick.model.plan import Settings
from telltick.ui import wire
from telltick.ui.app import TelltickApp
from telltick.ui.cells import Look, Wire, cursor_move, look_of, sgr_change, split_cells
from telltick.ui.widgets.prompt import Prompt
from telltick.ui.wire import WiredApp, pieces_of
from tests.ui.fake_feed import FakeFeed, FakeReplay
from tests.ui.on_screen import until
from tests.ui.paper import Glass, Twin

WORDS = ["beam", "dummy load", "▁▂▃█", "日本の受信機", "e\u0301te\u0301", "  ", "-62.3 dBFS", "░░░", "🔧x"]
COLOURS = ["#4fa3d1", "#e0b050", "red", "bright_blue", "color(130)", "default"]


# ---- what is built upon


@pytest.mark.parametrize("part", wire.PRIVATE_PARTS)
def test_the_toolkits_private_parts_are_as_they_were(part):
    """Textual changed: mend telltick/ui/wire.py, the one module that leans on these."""
    place, _, parameters = part.partition("(")
    module, _, names = place.partition(":")
    thing = importlib.import_module(module)
    for name in names.split("."):
        assert hasattr(thing, name), f"{part} is gone"
        thing = getattr(thing, name)
    assert f"({parameters}" == f"({', '.join(inspect.signature(thing).parameters)})", part


def test_the_toolkits_private_attributes_are_as_they_were():
    app = WiredApp()
    for name in ("_batch_count", "_running", "_closed", "_driver"):
        assert hasattr(app, name), f"App.{name} is gone: mend telltick/ui/wire.py"
    assert isinstance(Compositor.visible_widgets, property)
    assert hasattr(Screen(), "_layout_required"), "Screen._layout_required is gone: mend telltick/ui/wire.py"
    from textual.drivers._writer_thread import MAX_QUEUED_WRITES, WriterThread

    assert WriterThread(None)._queue.maxsize == MAX_QUEUED_WRITES > 3 * wire.BACKLOG
    driver = inspect.getsource(importlib.import_module("textual.drivers.linux_driver"))
    assert "_writer_thread" in driver
    assert "_must_signal_resume" in driver


# ---- cells and bytes


def test_text_is_split_into_cells_with_what_combines_with_them():
    assert split_cells("aé日b") == ("a", "é", "日", "", "b")
    assert split_cells("e\u0301x") == ("e\u0301", "x")
    assert split_cells("") == ()


def test_control_characters_never_reach_the_terminal():
    assert split_cells("a\x1b[31mb\x07\x9b\x7f") == tuple("a[31mb")
    wired = Wire()
    wired.begin(20, 1)
    assert "\x07" not in wired.encode([(0, 0, Strip([Segment("x\x07\x1b]0;evil\x07")]))])


@pytest.mark.parametrize(
    ("sgr", "look"),
    [
        ("", Look("", "", "")),
        ("1;38;5;12;48;5;0", Look("1", "38;5;12", "48;5;0")),
        ("3;4;38;2;1;2;3", Look("3;4", "38;2;1;2;3", "")),
        ("31;107", Look("", "31", "107")),
        ("39;49", Look("", "", "")),
    ],
)
def test_a_look_is_read_from_its_parameters(sgr, look):
    assert look_of(sgr) == look


def test_looks_change_in_few_bytes():
    red, blue = Look("", "31", "40"), Look("", "34", "40")
    assert sgr_change(red, red) == ""
    assert sgr_change(red, blue) == "\x1b[34m"
    assert sgr_change(red, Look("", "", "40")) == "\x1b[39m"
    assert sgr_change(red, Look("1", "31", "40")) == "\x1b[0;1;31;40m"


@pytest.mark.parametrize("seed", range(5))
def test_every_move_of_the_cursor_arrives(seed):
    rng = random.Random(seed)
    glass = Glass(120, 40)
    y0 = x0 = -1
    for _ in range(300):
        y, x = rng.randrange(40), rng.randrange(120)
        if y0 >= 0 and rng.random() < 0.7:
            y, x = min(y0 + rng.randrange(2), 39), min(max(x0 + rng.randrange(-6, 7), 0), 119)
        glass.draw_on(cursor_move(y0, x0, y, x))
        assert (glass.cursor.y, glass.cursor.x) == (y, x)
        y0, x0 = y, x


# ---- random pictures


def random_strip(rng: random.Random, width: int) -> Strip:
    segments: list[Segment] = []
    while sum(s.cell_length for s in segments) < width:
        style = Style(
            color=rng.choice(COLOURS), bgcolor=rng.choice(COLOURS), bold=rng.random() < 0.2,
            underline=rng.random() < 0.1, reverse=rng.random() < 0.1,
        )  # fmt: skip
        segments.append(Segment(rng.choice(WORDS), style))
    return Strip(segments).crop(0, width)


@pytest.mark.parametrize("erases_in_colour", [True, False])
@pytest.mark.parametrize("seed", range(4))
def test_random_pictures_come_out_the_same(seed, erases_in_colour):
    rng = random.Random(seed)
    width, height = 47, 9
    console = Console(color_system="256", force_terminal=True)
    stock, reduced = Glass(width, height), Glass(width, height)
    wired = Wire()
    wired.begin(width, height, erases_in_colour=erases_in_colour)
    lines = [random_strip(rng, width) for _ in range(height)]
    for _ in range(25):
        for y in rng.sample(range(height), rng.randrange(1, 4)):
            lines[y] = random_strip(rng, width)
        update = LayoutUpdate([[line] for line in lines], Region(0, 0, width, height))
        stock.draw_on(update.render_segments(console))
        reduced.draw_on(wired.encode(pieces_of(update), ColorSystem.EIGHT_BIT))
        assert reduced.rows() == stock.rows()
    assert wired.encode(pieces_of(update), ColorSystem.EIGHT_BIT) == ""


def test_a_terminal_that_erases_in_colour_is_not_sent_the_blanks_of_its_first_frame():
    lines = [Strip([Segment("beam" + " " * 40, Style(color="red", bgcolor="#102030"))])] * 9
    pieces = [(y, 0, line) for y, line in enumerate(lines)]
    sent = []
    for erases in (True, False):
        wired, glass = Wire(), Glass(44, 9)
        wired.begin(44, 9, erases_in_colour=erases)
        glass.draw_on("\x1b[2;2Hscribble")
        sent.append(wired.encode(pieces))
        glass.draw_on(sent[-1])
        assert {cell.bg for cell in glass.buffer[1].values()} == {"102030"}
        assert glass.display == ["beam" + " " * 40] * 9
    assert len(sent[0]) < len(sent[1]) / 2


def test_what_lies_outside_the_terminal_is_cut_off():
    wired = Wire()
    wired.begin(4, 2)
    assert wired.encode([(5, 0, Strip([Segment("no")]))]) == ""
    assert wired.encode([(1, 2, Strip([Segment("abcdef")]))]).endswith("ab")


def test_a_wide_character_written_over_in_part_is_drawn_again():
    wired = Wire()
    wired.begin(6, 1)
    wired.encode([(0, 0, Strip([Segment("日本x ")]))])
    wired.encode([(0, 1, Strip([Segment("a")]))])
    assert "日" in wired.encode([(0, 0, Strip([Segment("日")]))])


# ---- a whole app of the toolkit


class Card(ModalScreen[None]):
    DEFAULT_CSS = "Card { align: center middle; background: transparent; } Card Label { background: $panel; }"

    def compose(self) -> ComposeResult:
        yield Label("a card that lies\nover 受信機 everything")


class Busy(WiredApp[None]):
    CSS = "#long { height: 8; width: 60%; } Input { border: none; height: 1; }"

    def compose(self) -> ComposeResult:
        rng = random.Random(3)
        yield Static("head", id="head")
        with VerticalScroll(id="long"):
            for n in range(40):
                yield Label(f"{n} " + " ".join(rng.choice(WORDS) for _ in range(6)))
        yield Input(id="typed")


async def test_scrolling_typing_and_a_modal_card_come_out_the_same():
    app = Busy()
    twin = Twin(app, 60, 16)
    async with app.run_test(headless=False, size=(60, 16)) as pilot:
        await settled(pilot, twin)
        for step in range(12):
            app.query_one("#long").scroll_to(y=3 * step, animate=False)
            app.query_one("#head", Static).update(f"{'日' * (step % 5)} {step}")
            await settled(pilot, twin)
        app.query_one(Input).focus()
        await pilot.press(*"note 1")
        await settled(pilot, twin)
        app.push_screen(Card())
        await settled(pilot, twin)
        assert "over 受信機 everything" in twin.reduced.text().replace("  ", " ").replace(
            "受 信 機", "受信機"
        )
        app.pop_screen()
        await settled(pilot, twin)
    assert twin.frames > 15


async def settled(pilot, twin) -> None:
    """Let the app draw all it has to draw; both glasses must then show the same."""
    await pilot.pause(0.02)
    await until(pilot, lambda: not pilot.app._owes_frame)
    await pilot.pause(0.02)
    twin.take(pilot.app)
    assert twin.differences() == []


# ---- our own screens


def app_for(feed, **settings) -> TelltickApp:
    return TelltickApp(feed, Settings(**settings), ascii_only=False, environ={"COLORTERM": "truecolor"})


async def looked(pilot, feed, more: int) -> None:
    seen = feed.looks
    await until(pilot, lambda: feed.looks >= seen + more)


@pytest.mark.parametrize("erases_in_colour", [True, False], ids=["erases in colour", "does not"])
@pytest.mark.parametrize("make", [FakeFeed, FakeReplay], ids=["live", "replay"])
async def test_a_session_comes_out_the_same_through_screens_sizes_and_palettes(make, erases_in_colour):
    feed = make()
    app = app_for(feed)
    app.erases_in_colour = erases_in_colour
    twin = Twin(app, 120, 40)
    async with app.run_test(headless=False, size=(120, 40)) as pilot:
        await looked(pilot, feed, 6)
        while app.pacer.by_hand_hz != 2.0:  # few enough for keys to find an idle moment
            app.pacer.next_rate()
        await settled(pilot, twin)
        for keys in (("?", "escape"), ("ctrl+p", "escape"), ("n", "受", "enter"), ("t",)):
            for key in keys:
                await pilot.press(key)
                await settled(pilot, twin)
            await looked(pilot, feed, 1)
        for width, height in ((80, 24), (120, 40)):
            twin.resize(app, width, height)
            await until(pilot, lambda w=width: app.size.width == w)
            await looked(pilot, feed, 2)
            await settled(pilot, twin)
    assert twin.reduced_bytes < twin.stock_bytes / 4
    assert twin.painted > 5  # the strip went past the compositor


async def test_a_prompt_over_the_strip_is_never_painted_on():
    feed = FakeFeed()
    app = app_for(feed)
    twin = Twin(app, 80, 24)
    async with app.run_test(headless=False, size=(80, 24)) as pilot:
        await looked(pilot, feed, 3)
        await pilot.press("n")
        strip = app.session.query_one("#strip")
        app.session.query_one(Prompt).styles.offset = (0, strip.region.y + 2)
        await settled(pilot, twin)
        painted = twin.painted
        await looked(pilot, feed, 4)
        await settled(pilot, twin)
        assert twin.painted == painted
        await pilot.press("escape")
        await looked(pilot, feed, 2)
        await settled(pilot, twin)


async def test_repainting_heals_a_terminal_that_was_scribbled_on():
    feed = FakeFeed()
    app = app_for(feed)
    twin = Twin(app, 120, 40)
    async with app.run_test(headless=False, size=(120, 40)) as pilot:
        await looked(pilot, feed, 3)
        await settled(pilot, twin)
        twin.reduced.draw_on("\x1b[2J\x1b[5;5Ha wall message")
        assert twin.differences() != []
        await pilot.press("ctrl+l")
        await settled(pilot, twin)


async def test_coming_back_in_the_same_size_repaints():
    feed = FakeFeed()
    app = app_for(feed)
    twin = Twin(app, 120, 40)
    async with app.run_test(headless=False, size=(120, 40)) as pilot:
        await looked(pilot, feed, 3)
        await settled(pilot, twin)
        twin.reduced.draw_on("\x1b[2J")
        app._driver.resize(120, 40)
        await pilot.pause()
        await settled(pilot, twin)


async def test_frames_go_out_as_the_toolkit_makes_them_when_reducing_is_off():
    feed = FakeFeed()
    app = app_for(feed)
    app.reduced = False
    twin = Twin(app, 120, 40)
    async with app.run_test(headless=False, size=(120, 40)) as pilot:
        await looked(pilot, feed, 3)
        await settled(pilot, twin)
    assert twin.reduced_bytes > twin.stock_bytes / 2
