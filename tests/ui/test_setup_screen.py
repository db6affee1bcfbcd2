"""Station set-up by keys, on a made-up machine."""

from __future__ import annotations

import pytest

from telltick.engine.tryout import Answer, SoundInputs
from telltick.model.errors import DeviceError
from telltick.model.plan import Settings, StationProfile
from telltick.model.snapshot import InputHealth
from telltick.sources.soundcard import InputInfo
from telltick.store.station import load_station
from telltick.store.stations import save_station
from telltick.ui.setup.app import Parts, SetupApp
from telltick.ui.setup.form import Form, fields_for
from tests.ui.on_screen import text_of_screen, until

SOUNDS = SoundInputs((InputInfo("line in", 2, 48_000, True), InputInfo("usb codec", 1, 48_000, False)))
SIZES = [(80, 24), (100, 30), (120, 40), (200, 60)]


class Sound:
    def __init__(self, health: InputHealth) -> None:
        self.health, self.closed = health, False

    def look(self) -> InputHealth:
        return self.health

    def close(self) -> None:
        self.closed = True


class World:
    """What the screen did to it."""

    def __init__(self, tmp_path, health=None, answer=None) -> None:
        self.health = health or InputHealth(-31.4, -20.0)
        self.answer = answer or Answer(b"XX00014100000;", 12.3, True)
        self.asked, self.opened = [], []
        self.parts = Parts(lambda profile: save_station(profile, tmp_path))
        self.parts.ask, self.parts.listen = self._ask, self._listen

    def _ask(self, plan):
        self.asked.append(plan)
        return self.answer

    def _listen(self, plan):
        if plan.device == "usb codec":
            raise DeviceError("the sound input is taken by another program")
        self.opened.append(Sound(self.health))
        return self.opened[-1]


def app_for(world: World, *, ascii_only: bool = False, profile=None) -> SetupApp:
    form = Form(fields_for(SOUNDS, ("/dev/ttyUSB0",)), profile or StationProfile(name="larkfell hut"))
    return SetupApp(form, world.parts, Settings(), ascii_only=ascii_only, environ={"TERM": "xterm-256color"})


async def to_line(pilot, key: str) -> None:
    while pilot.app.setup.field.key != key:
        await pilot.press("down")


async def test_a_bench_is_set_up_by_keys_and_kept(tmp_path):
    world = World(tmp_path)
    app = app_for(world)
    async with app.run_test(size=(100, 30)) as pilot:
        await until(pilot, lambda: "-31.4 dBFS" in text_of_screen(app))
        assert "fit to measure" in text_of_screen(app)
        await to_line(pilot, "port")
        await pilot.press("right")
        await to_line(pilot, "request")
        await pilot.press("enter", *"XX;", "enter")
        await to_line(pilot, "reply_end")
        await pilot.press("enter", *"3b", "enter")
        await to_line(pilot, "setup.antenna")
        await pilot.press("right", "s")
    kept = load_station(app.return_value)
    assert kept.poll.port == "/dev/ttyUSB0"
    assert kept.poll.frame == b"XX;"
    assert kept.setup == {"antenna": "dummy load"}
    assert not world.asked  # nothing was sent, no port was opened
    assert world.opened[0].closed


async def test_nothing_is_sent_before_the_caution_was_shown_and_confirmed(tmp_path):
    world = World(tmp_path)
    app = app_for(world)
    async with app.run_test(size=(100, 30)) as pilot:
        await to_line(pilot, "port")
        await pilot.press("right")
        await to_line(pilot, "request")
        await pilot.press("enter", *"XX;", "enter", "t")
        await until(pilot, lambda: "key a transmitter" in text_of_screen(app))
        assert not world.asked
        await pilot.press("escape", "t")
        assert not world.asked
        await pilot.press("t")
        await until(pilot, lambda: "14 bytes after 12.3 ms" in text_of_screen(app))
        assert [plan.frame for plan in world.asked] == [b"XX;"]
        await to_line(pilot, "baud")
        await pilot.press("right")  # another baud: the old answer says nothing any more
        await until(pilot, lambda: "14 bytes after" not in text_of_screen(app))


async def test_an_answer_from_the_line_cannot_write_on_the_terminal(tmp_path):
    world = World(tmp_path, answer=Answer(b"\x1b]0;owned\x07\x9b2J", 3.0, True))
    app = app_for(world)
    async with app.run_test(size=(100, 30)) as pilot:
        await to_line(pilot, "port")
        await pilot.press("right")
        await to_line(pilot, "request")
        await pilot.press("enter", *"XX;", "enter", "t", "t")
        await until(pilot, lambda: "13 bytes after 3.0 ms" in text_of_screen(app))
        assert "\\x1b]0;owned" in text_of_screen(app)
        assert "\x1b" not in text_of_screen(app)


async def test_what_is_wrong_with_an_input_is_said_beside_it(tmp_path):
    world = World(tmp_path, health=InputHealth(-2.0, 0.0, clipped=9, advice="the input clips"))
    app = app_for(world)
    async with app.run_test(size=(100, 30)) as pilot:
        await until(pilot, lambda: "! the input clips" in text_of_screen(app))
        await to_line(pilot, "input")
        await pilot.press("left")
        await until(pilot, lambda: "taken by another" in text_of_screen(app))


async def test_a_profile_that_cannot_be_is_not_kept_and_the_reason_is_said(tmp_path):
    app = app_for(World(tmp_path))
    async with app.run_test(size=(100, 30)) as pilot:
        await to_line(pilot, "port")
        await pilot.press("right", "s")
        await until(pilot, lambda: "! request: write the query" in text_of_screen(app))
        await pilot.press("q")
    assert app.return_value is None
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("ascii_only", [False, True])
async def test_the_form_fits_every_size_and_ascii_is_ascii(tmp_path, size, ascii_only):
    app = app_for(World(tmp_path), ascii_only=ascii_only)
    async with app.run_test(size=size) as pilot:
        await until(
            pilot, lambda: "monitor level" in text_of_screen(app) and "keep it" in text_of_screen(app)
        )
        assert not ascii_only or text_of_screen(app).isascii()
