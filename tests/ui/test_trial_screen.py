"""The coin trial on screen: one key starts it, odds grow, it ends by itself; and the portrait."""

import math
from dataclasses import replace

import numpy as np
import pytest

from telltick.model.errors import BadInputError
from telltick.model.plan import Settings
from telltick.model.session import Verb
from telltick.model.snapshot import PollingState, View
from telltick.ui.app import TelltickApp
from telltick.ui.desk import GOALS, Desk
from telltick.ui.glyphs import ASCII, UNICODE
from telltick.ui.rows import Role, Room, text_of, width_of
from telltick.ui.screens.trial import TrialScreen
from telltick.ui.widgets.meter import draw_meter
from telltick.ui.widgets.odds import draw_odds, meaning, odds_rows, outlook
from telltick.ui.widgets.portrait import Sitter, portrait_rows
from tests.ui.fake_feed import FakeFeed, FakeReplay
from tests.ui.on_screen import lines_of, text_of_screen, until
from tests.ui.results import measurement, portrait, trial

SIZES = [(80, 20), (100, 26), (120, 36), (200, 56)]


def app_for(feed: FakeFeed, *, ascii_only: bool = False) -> TelltickApp:
    return TelltickApp(feed, Settings(), ascii_only=ascii_only, environ={"TERM": "xterm-256color"})


async def opened(pilot, *keys: str) -> None:
    await until(pilot, lambda: pilot.app.session.desk.snapshot.now_ns > 0)
    await pilot.press(*keys)


def desk_for(feed: FakeFeed) -> Desk:
    desk = Desk(feed, UNICODE)
    desk.snapshot = feed.look(View())
    return desk


# ---- start, end


async def test_one_key_starts_the_first_trial_and_shows_it_and_the_same_key_ends_it():
    feed = FakeFeed()
    app = app_for(feed)
    async with app.run_test(size=(100, 30)) as pilot:
        await opened(pilot, "d")
        assert feed.asked == [(Verb.START_TRIAL, "")]
        await until(pilot, lambda: "COIN TRIAL" in text_of_screen(app))
        feed.trial = trial(52)
        await until(pilot, lambda: "odds against chance" in text_of_screen(app))
        assert "RUNS" in text_of_screen(app)
        await pilot.press("d")
        assert feed.asked[-1] == (Verb.STOP_TRIAL, "")
        await pilot.press("escape")
        await until(pilot, lambda: app.screen is app.session)


async def test_a_trial_that_is_over_is_looked_at_without_starting_another():
    feed = FakeFeed()
    feed.trial = trial(60, running=False)
    app = app_for(feed)
    async with app.run_test(size=(100, 30)) as pilot:
        await opened(pilot, "d")
        await until(pilot, lambda: "OVER" in text_of_screen(app))
        assert feed.asked == []
        await pilot.press("d")
        assert feed.asked == [(Verb.START_TRIAL, "")]


async def test_in_replay_the_trial_is_shown_and_nothing_asked():
    feed = FakeReplay()
    feed.trial = trial(60, running=False)
    app = app_for(feed)
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(pilot, "d")
        await until(pilot, lambda: "odds against chance" in text_of_screen(app))
        await pilot.press("d", "up")
        assert feed.asked == []
        assert isinstance(app.screen, TrialScreen)


async def test_it_ends_by_itself_at_the_set_odds_and_is_asked_to_only_once():
    feed = FakeFeed()
    app = app_for(feed)
    async with app.run_test(size=(100, 30)) as pilot:
        await opened(pilot, "d", "down")
        await until(pilot, lambda: "ends at 100 to 1" in text_of_screen(app))
        feed.trial = replace(trial(52), log10_e=1.9)
        looks = feed.looks
        await until(pilot, lambda: feed.looks > looks + 3)
        assert feed.asked == [(Verb.START_TRIAL, "")]
        feed.trial = replace(trial(53), log10_e=2.1)
        await until(pilot, lambda: feed.asked[-1] == (Verb.STOP_TRIAL, ""))
        looks = feed.looks
        await until(pilot, lambda: feed.looks > looks + 3)
        assert feed.asked.count((Verb.STOP_TRIAL, "")) == 1


def test_without_a_goal_it_goes_on_and_the_goal_stays_within_its_list():
    desk = desk_for(FakeFeed())
    for _ in GOALS:
        said = desk.move_goal(1)
    assert "until you end it" in said
    desk.snapshot = replace(desk.snapshot, trial=replace(trial(), log10_e=12.0))
    assert desk.end_trial_at_goal() == ""
    for _ in GOALS:
        said = desk.move_goal(-1)
    assert "20 to 1" in said


@pytest.mark.parametrize(
    ("polling", "words"),
    [(PollingState(), "poller of our own"), (PollingState(available=True, on=False), "polling is off")],
)
def test_why_a_trial_cannot_start_is_said(polling, words):
    feed = FakeFeed()
    feed.polling = polling
    with pytest.raises(BadInputError, match=words):
        desk_for(feed).start_trial()
    assert feed.asked == []


async def test_a_full_disk_names_the_key_that_goes_on():
    feed = FakeFeed()
    app = app_for(feed)
    async with app.run_test(size=(120, 40)) as pilot:
        await opened(pilot)
        feed.notices.append("disk full: recording stopped; free some space, then ask to resume")
        await until(pilot, lambda: "ask to resume (key y)" in text_of_screen(app))
        await pilot.press("y")
        assert feed.asked == [(Verb.RESUME, "")]


# ---- what is drawn


def drawn(reading, size, glyphs=UNICODE, goal=1000.0):
    room = Room(size[0], size[1], glyphs)
    words = odds_rows(reading, room, goal)
    return draw_odds(reading, Room(size[0], size[1] - len(words), glyphs), goal), words


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("glyphs", [UNICODE, ASCII], ids=["unicode", "ascii"])
@pytest.mark.parametrize("cycles", [1, 9, 52, 4000])
def test_odds_fit_every_room_with_their_thresholds(size, glyphs, cycles):
    reading = trial(cycles, per_cycle=0.03)
    for goal in GOALS:
        picture, words = drawn(reading, size, glyphs, goal)
        assert max(width_of(line) for line in (*picture, *words)) <= size[0]
        assert len(picture) + len(words) <= size[1]
        page = "\n".join(text_of(line) for line in (*picture, *words))
        assert not glyphs.ascii or page.isascii()


def test_the_thresholds_and_the_goal_are_marked():
    picture, _ = drawn(trial(52), (100, 26))
    page = "\n".join(text_of(line) for line in picture)
    assert all(f"{odds} to 1 ┤" in page for odds in (20, 100, 1000))
    assert "━ ends by itself" in next(text_of(line) for line in picture if " 1000 to 1" in text_of(line))


def test_the_odds_stand_where_the_scale_says():
    path = np.full(200, 2.0)
    reading = replace(trial(200), path_log10_e=path, log10_e=2.0, highest_log10_e=2.0)
    picture, _ = drawn(reading, (100, 30))
    lines = [text_of(line) for line in picture]
    at_100 = next(y for y, line in enumerate(lines) if " 100 to 1" in line)
    assert not set("█▁▂▃▄▅▆▇") & set("".join(lines[:at_100]))
    assert "█" in lines[at_100 + 1]


def test_odds_beyond_the_usual_thresholds_have_lines_up_to_the_top():
    path = np.linspace(0.5, 36.0, 60)
    reading = replace(trial(60), path_log10_e=path, log10_e=36.0, highest_log10_e=36.0)
    picture, words = drawn(reading, (100, 26))
    labels = [text_of(line)[:11].strip() for line in picture if " to 1" in text_of(line)[:12]]
    assert labels[0] == "10^36 to 1"
    assert labels.index("10^12 to 1") < labels.index("1000 to 1")
    assert "10^36 to 1" in text_of(words[0])


def test_the_outlook_follows_the_slope_of_the_newer_half():
    # 0.05 a cycle; from 2.5 to 3 at 6 slots of 33.3 ms: 10 cycles, 2 s (worked by hand).
    path = 0.05 * np.arange(1, 51)
    reading = replace(trial(50), path_log10_e=path, log10_e=2.5, slots=6, slot_s=1 / 30)
    ahead = outlook(reading, 1000.0)
    assert (ahead.cycles, round(ahead.seconds or 0, 3)) == (10, 2.0)
    assert outlook(reading, 100.0).cycles == 0
    assert outlook(replace(reading, path_log10_e=-path, log10_e=-2.5), 1000.0).cycles is None
    assert outlook(reading, math.inf).cycles is None


def test_what_odds_mean_is_the_bound_of_ville():
    # P(ever >= E) <= 1 / E: Ville, Etude critique de la notion de collectif (1939).
    assert "at most 1 in 1000 " in meaning(replace(trial(), highest_log10_e=3.0))


def test_the_meter_tells_the_odds_while_a_trial_runs():
    for size in ((30, 12), (34, 14), (40, 20), (58, 30)):
        for running in (True, False):
            snapshot = replace(FakeFeed().look(View()), trial=trial(52, running=running))
            rows = draw_meter(snapshot, Room(*size, ASCII), window_s=30.0, reach_db=12.0)
            page = "\n".join(text_of(line) for line in rows)
            assert ("coin" in page) is running
            assert len(rows) <= size[1]
            assert max(width_of(line) for line in rows) <= size[0]


# ---- portrait


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("glyphs", [UNICODE, ASCII], ids=["unicode", "ascii"])
@pytest.mark.parametrize("given", [portrait(), portrait(sure=False), None], ids=["sure", "unsure", "none"])
def test_a_portrait_fits_every_room(size, glyphs, given):
    whole = measurement()
    rows = portrait_rows(Sitter("whole session", given, whole.heard, whole.character), Room(*size, glyphs))
    assert len(rows) <= size[1]
    assert max(width_of(line) for line in rows) <= size[0]
    page = "\n".join(text_of(line) for line in rows)
    assert not glyphs.ascii or page.isascii()
    assert ("CARRIES IT" in page) is (given is not None and given.lead > 3)


def test_the_rise_stands_over_the_bytes_that_carry_it():
    rows = portrait_rows(Sitter("whole session", portrait()), Room(141, 30, UNICODE))
    lines = [text_of(line) for line in rows]
    reply = next(line for line in lines if line.startswith("reply"))
    first, last = reply.index("▄"), reply.rindex("▄")
    top = next(line for line in lines[1:] if "█" in line)
    assert first <= top.index("█") <= top.rindex("█") <= last
    assert "26.0 ms" in reply


def test_only_what_is_surely_above_the_floor_is_solid():
    given = portrait()
    unsure = replace(given, low=np.full(len(given.low), 0.5))
    rows = portrait_rows(Sitter("x", unsure), Room(120, 30, UNICODE))
    assert not any(run.role is Role.RISE for line in rows[1:-7] for run in line)


async def test_portraits_of_the_steps_are_turned_by_arrows():
    app = app_for(FakeFeed())
    async with app.run_test(size=(100, 30)) as pilot:
        await opened(pilot, "m")
        await until(pilot, lambda: "PORTRAIT 1 of 7" in lines_of(app)[1])
        await pilot.press("right", "right")
        await until(pilot, lambda: "PORTRAIT 3 of 7" in lines_of(app)[1])
        assert "No portrait: it takes twenty polls" in text_of_screen(app)
        await pilot.press("left", "left", "left")
        await until(pilot, lambda: "PORTRAIT 7 of 7" in lines_of(app)[1])
