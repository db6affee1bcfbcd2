from __future__ import annotations

import pytest

from telltick.model.errors import BadInputError
from telltick.model.plan import AudioPlan, PollPlan, Settings, StationProfile
from telltick.ui.setup.choose import NEW, ChoiceApp, offers_of
from tests.ui.on_screen import text_of_screen, until

PROFILES = {
    "larkfell-hut": StationProfile(
        name="Larkfell hut",
        audio=AudioPlan(device="usb codec"),
        poll=PollPlan(port="/dev/ttyUSB0", frame_text="XX;", baud=19200),
    ),
    "broken": BadInputError("broken.toml, line 1: no value"),
}


def app_for(profiles, *, ascii_only: bool = False) -> ChoiceApp:
    return ChoiceApp(offers_of(profiles), Settings(), ascii_only=ascii_only, environ={"TERM": "xterm"})


@pytest.mark.parametrize(
    ("keys", "left_with"),
    [(["enter"], "larkfell-hut"), (["up", "enter"], NEW), (["down", "down", "enter"], NEW), (["q"], None)],
)
async def test_a_station_is_chosen_by_keys(keys, left_with):
    app = app_for(PROFILES)
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: "/dev/ttyUSB0, 19200 baud" in text_of_screen(app))
        await pilot.press(*keys)
    assert app.return_value == left_with


async def test_the_caution_about_the_port_stands_there_before_anything_is_opened():
    app = app_for({}, ascii_only=True)
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: "first run" in text_of_screen(app))
        assert "key a transmitter" in " ".join(text_of_screen(app).split())
        assert text_of_screen(app).isascii()


async def test_a_broken_profile_is_shown_with_its_reason():
    app = app_for(PROFILES)
    async with app.run_test(size=(120, 40)) as pilot:
        await until(pilot, lambda: "cannot be used: broken.toml, line 1" in text_of_screen(app))
