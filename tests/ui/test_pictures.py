"""Every screen as a picture of text at three sizes, the clock standing still: what changes must be wanted.

With ``TELLTICK_DRAW=1`` in the environment they are drawn anew: look at the difference before keeping it.
"""

import os
from pathlib import Path

import pytest

from telltick.model.errors import BadInputError
from telltick.model.plan import AudioPlan, PollPlan, Settings, StationProfile
from telltick.ui.app import TelltickApp
from telltick.ui.glyphs import UNICODE
from telltick.ui.setup.choose import ChoiceApp, offers_of
from telltick.ui.widgets.spectrum import SpectrumPlot
from tests.ui.fake_feed import FakeFeed, FakeReplay, scripted_marks
from tests.ui.on_screen import lines_of, text_of_screen, until
from tests.ui.results import trial
from tests.ui.test_setup_screen import World
from tests.ui.test_setup_screen import app_for as setup_app

PICTURES = Path(__file__).parent / "pictures"
SIZES = [(80, 24), (120, 40), (200, 60)]
SCREENS = {
    "main": ((), "142 polls"),
    "steps": (("s",), "as it began"),
    "changes": (("s", "2"), "UNDECIDED"),
    "findings": (("s", "3"), "CONTRADICTORY"),
    "details": (("s", "3", "down", "enter"), "Common practice, no source."),
    "portrait": (("m",), "CARRIES IT"),
    "trial": (("d",), "odds against chance"),
    "help": (("?",), "something changes"),
    "explained": (("?", "right"), "Beaton and Tukey"),
    "commands": (("ctrl+p",), "Enter does it"),
    "prompt": (("a",), "new value"),
    "rounds": (("w",), "begins it"),
    "leave": (("q",), "stop and save"),
    "walk": (("w", "enter"), "1 of 7"),
    "note": (("n",), "Esc leave"),
    "cursor": ((")", ")"), UNICODE.cursor_foot),
}
TRY = ("t",)
SET_UP = {  # with a port chosen where keys are pressed
    "setup": ((), "fit to measure"),
    "setup-caution": (TRY, "sends it once"),
    "setup-reply": ((*TRY, *TRY), "14 bytes after 12.3 ms"),
}


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("name", SCREENS)
async def test_the_screen_looks_as_it_did(name, size):
    keys, words = SCREENS[name]
    feed = FakeFeed(at_s=712.0, tick_s=0.0)
    feed.marks, feed.trial = list(scripted_marks()), trial(52)
    app = TelltickApp(feed, Settings(), ascii_only=False, environ={"TERM": "xterm-256color"})
    async with app.run_test(size=size) as pilot:
        await until(pilot, lambda: "142 polls" in text_of_screen(app) and "% ans" in lines_of(app)[0])
        await pilot.press(*keys)
        await until(pilot, lambda: words in text_of_screen(app))
        drawn = await still(pilot, feed)
    check(name, size, drawn)


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
async def test_a_saved_session_looks_as_it_did(size):
    feed = FakeReplay(tick_s=0.0)
    app = TelltickApp(feed, Settings(), ascii_only=False, environ={"TERM": "xterm-256color"})
    async with app.run_test(size=size) as pilot:
        await until(pilot, lambda: "142 polls" in text_of_screen(app) and "% ans" in lines_of(app)[0])
        drawn = await still(pilot, feed)
    check("replay", size, drawn)


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("name", SET_UP)
async def test_the_set_up_looks_as_it_did(name, size, tmp_path):
    keys, words = SET_UP[name]
    plan = PollPlan(port="/dev/ttyUSB0", frame_text="XX;", reply_terminator="3b") if keys else None
    app = setup_app(World(tmp_path), profile=StationProfile(name="larkfell hut", poll=plan))
    async with app.run_test(size=size) as pilot:
        await until(pilot, lambda: "fit to measure" in text_of_screen(app))
        await pilot.press(*keys)
        await until(pilot, lambda: words in text_of_screen(app))
        drawn = [line.rstrip() for line in lines_of(app)]
    check(name, size, drawn)


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
async def test_the_choice_of_a_station_looks_as_it_did(size):
    plan = PollPlan(port="/dev/ttyUSB0", frame_text="XX;", reply_terminator="3b")
    profiles = {
        "field day": StationProfile(name="field day"),
        "larkfell hut": StationProfile(name="larkfell hut", audio=AudioPlan(device="usb codec"), poll=plan),
        "old hut": BadInputError("old hut.toml, line 3: poll.baud must be a whole number"),
    }
    app = ChoiceApp(offers_of(profiles), Settings(), ascii_only=False, environ={"TERM": "xterm-256color"})
    async with app.run_test(size=size) as pilot:
        await until(pilot, lambda: "which station?" in text_of_screen(app))
        drawn = [line.rstrip() for line in lines_of(app)]
    check("choice", size, drawn)


async def still(pilot, feed: FakeFeed) -> list[str]:
    """The rows once all of it is shown."""
    app, looks = pilot.app, feed.looks
    await until(pilot, lambda: feed.looks > looks + 2 and not app.session.measuring.busy)
    # Its axis holds on to levels of a second ago, if there was one.
    app.session.query_one(SpectrumPlot).forget()
    await pilot.pause()
    return [line.rstrip() for line in lines_of(app)]


def check(name: str, size: tuple[int, int], drawn: list[str]) -> None:
    kept = PICTURES / f"{name}-{size[0]}x{size[1]}.txt"
    if os.environ.get("TELLTICK_DRAW"):
        kept.write_text("\n".join(drawn) + "\n", encoding="utf-8")
    assert drawn == kept.read_text(encoding="utf-8").splitlines()
