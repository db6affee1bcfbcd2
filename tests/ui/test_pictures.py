"""Every screen as a picture of text at three sizes, the clock standing still: what changes must be wanted.

With ``TELLTICK_DRAW=1`` in the environment they are drawn anew: look at the difference before keeping it.
"""

import os
from pathlib import Path

import pytest

from telltick.model.plan import Settings
from telltick.ui.app import TelltickApp
from telltick.ui.widgets.spectrum import SpectrumPlot
from tests.ui.fake_feed import FakeFeed, scripted_marks
from tests.ui.on_screen import lines_of, text_of_screen, until
from tests.ui.results import trial

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
        looks = feed.looks
        await until(pilot, lambda: feed.looks > looks + 2 and not app.session.measuring.busy)
        app.session.query_one(
            SpectrumPlot
        ).forget()  # its axis holds on to levels of a second ago, if there was one
        await pilot.pause()
        drawn = [line.rstrip() for line in lines_of(app)]
    kept = PICTURES / f"{name}-{size[0]}x{size[1]}.txt"
    if os.environ.get("TELLTICK_DRAW"):
        kept.write_text("\n".join(drawn) + "\n", encoding="utf-8")
    assert drawn == kept.read_text(encoding="utf-8").splitlines()
