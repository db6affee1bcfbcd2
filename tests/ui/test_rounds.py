"""A guided round on screen: chosen, walked by keys, its panel in every size, ended with the findings."""

from __future__ import annotations

from dataclasses import replace

import pytest

from telltick.model.marks import MarkKind
from telltick.model.rounds import Round, Task, TaskResult, Walk, WalkPhase
from telltick.model.session import Verb
from telltick.ui.glyphs import ASCII, UNICODE
from telltick.ui.keymap import Keymap
from telltick.ui.rows import Room, text_of, width_of
from telltick.ui.screens.results import ResultsScreen
from telltick.ui.widgets.walk import draw_walk
from tests.ui.fake_feed import FakeFeed, FakeReplay
from tests.ui.on_screen import text_of_screen, until
from tests.ui.session_app import app_for, on_session, ready

SWAP = Task(
    do="change", say="Take the antenna off and connect the dummy load.", factor="antenna", value="dummy load"
)
ROUND = Round(title="Proof", about="Short.", minutes=2, tasks=(SWAP,))
WALK = Walk(
    title="Five-minute proof", number=5, count=6, phase=WalkPhase.YOURS, task=SWAP, value="dummy load",
    progress=SWAP.say, caution="Never transmit into a small dummy load: it burns.",
    results=(TaskResult(Task(do="measure", say=""), False, "excess +6.2 +-0.3 dB after 12 s"),),
)  # fmt: skip


async def begin(pilot) -> None:
    await ready(pilot)
    await pilot.press("w")
    await until(pilot, lambda: "Five-minute proof" in text_of_screen(pilot.app))
    await pilot.press("enter")
    await until(pilot, lambda: " of 6, " in text_of_screen(pilot.app))


@pytest.mark.parametrize("size", [(80, 24), (100, 30), (120, 40), (200, 60)])
async def test_a_round_is_chosen_and_stands_where_the_journal_was(size):
    feed = FakeFeed()
    app = app_for(feed)
    async with app.run_test(size=size) as pilot:
        await begin(pilot)
        assert feed.marks[-1].note == "guided round: Five-minute proof"
        await pilot.press("W")
        await until(pilot, lambda: " of 6, " not in text_of_screen(app))
        assert "journal" in text_of_screen(app)


@pytest.mark.parametrize(
    ("keys", "value"),
    [((), "dummy load"), (("b", "e", "n", "c", "h"), "bench"), (("end", "space", "2"), "dummy load 2")],
    ids=["taken", "typed over", "added to"],
)
async def test_the_rounds_own_proposal_is_typed_in_already(keys, value):
    feed = FakeFeed()
    async with on_session(feed) as (app, pilot):
        app.session._begin_round(ROUND)
        await until(pilot, lambda: "your turn" in text_of_screen(app))
        await pilot.press("w")
        assert feed.marks[-1].kind is MarkKind.CHANGE
        await pilot.press(*keys, "enter")
        assert (feed.marks[-1].factor, feed.marks[-1].value) == ("antenna", value)
        await until(pilot, lambda: app.session.guide.walk.phase in (WalkPhase.MEASURING, WalkPhase.DONE))


async def test_a_task_can_be_left_out_and_taken_up_again():
    feed = FakeFeed()
    async with on_session(feed) as (app, pilot):
        app.session._begin_round(replace(ROUND, tasks=(SWAP, replace(SWAP, factor="choke"))))
        await until(pilot, lambda: "1 of 2" in text_of_screen(app))
        await pilot.press(">")
        await until(pilot, lambda: "2 of 2" in text_of_screen(app))
        await pilot.press("<")
        await until(pilot, lambda: "1 of 2" in text_of_screen(app))


async def test_the_findings_open_when_the_round_is_done():
    feed = FakeFeed()
    async with on_session(feed) as (app, pilot):
        app.session._begin_round(ROUND)
        await until(pilot, lambda: "your turn" in text_of_screen(app))
        await pilot.press(">")
        await until(pilot, lambda: isinstance(app.screen, ResultsScreen))
        await until(pilot, lambda: "3 FINDINGS" in text_of_screen(app))


async def test_a_saved_session_is_not_walked():
    feed = FakeReplay()
    async with on_session(feed) as (app, pilot):
        await pilot.press("w")
        assert app.session.guide.walk is None


@pytest.mark.parametrize("glyphs", [UNICODE, ASCII], ids=["unicode", "ascii"])
@pytest.mark.parametrize(("width", "height"), [(49, 5), (65, 7), (79, 9), (141, 13)])
@pytest.mark.parametrize("phase", WalkPhase)
def test_the_panel_fits_its_room_and_always_shows_the_keys(width, height, phase, glyphs):
    task = None if phase is WalkPhase.DONE else SWAP
    walk = replace(WALK, phase=phase, task=task, share=0.4, seconds_left=7.0)
    rows = draw_walk(walk, Keymap(), Room(width, height, glyphs))
    assert len(rows) <= height
    assert all(width_of(line) <= width for line in rows)
    text = "\n".join(text_of(line) for line in rows)
    assert " W " in text
    assert not glyphs.ascii or text.isascii()


def test_how_far_measuring_is_can_be_read_on_the_smallest_screen():
    walk = replace(
        WALK, phase=WalkPhase.MEASURING, task=replace(SWAP, say="Take it off, all of it. " * 6), share=0.5,
        seconds_left=7.0, progress="excess +6.2 +-0.9 dB after 4 s",
    )  # fmt: skip
    text = "\n".join(text_of(line) for line in draw_walk(walk, Keymap(), Room(48, 5, UNICODE)))
    assert "about 7 s more" in text
    assert "excess +6.2" in text
    assert "Take it off" in text


def test_the_caution_of_a_swap_stands_in_the_panel_where_there_is_room():
    rows = draw_walk(WALK, Keymap(), Room(79, 12, UNICODE))
    text = " ".join(text_of(line) for line in rows)
    assert "Never transmit into a small dummy load" in text
    assert "antenna: dummy load" in text
    assert "baseline excess +6.2" in text


async def test_a_coin_trial_is_ended_once_whoever_sees_first_that_it_is_enough():
    feed = FakeFeed()
    async with on_session(feed) as (app, _):
        app.session.desk.ask(Verb.STOP_TRIAL)
        app.session.desk.ask(Verb.STOP_TRIAL)
        assert [verb for verb, _ in feed.asked] == [Verb.STOP_TRIAL]
