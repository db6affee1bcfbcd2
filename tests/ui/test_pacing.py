"""Frames wait for the terminal; a terminal that is gone is left."""

from __future__ import annotations

import pytest

from telltick.model.plan import Settings
from telltick.ui.app import TelltickApp
from telltick.ui.leaving import ScreenExit
from telltick.ui.pacing import MAX_IN_FLIGHT, RATES_HZ, TAGS, Pacer
from tests.ui.fake_feed import FakeFeed
from tests.ui.on_screen import until
from tests.ui.paper import Glass, PaperDriver


class Clock:
    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s

    def wait(self, seconds: float) -> None:
        self.now_s += seconds


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def pacer(clock: Clock) -> Pacer:
    return Pacer(clock_s=clock)


def draw(pacer: Pacer) -> int:
    assert pacer.may_draw()
    return pacer.asked()


# ---- frames


def test_two_frames_may_be_on_their_way_and_no_third(pacer):
    first = draw(pacer)
    pacer.answered(first)
    for _ in range(MAX_IN_FLIGHT):
        last = draw(pacer)
    assert not pacer.may_draw()
    pacer.answered(last)
    assert pacer.may_draw()
    assert not pacer.waiting


def test_an_answer_tells_which_frame_was_drawn_so_that_a_lost_one_does_no_harm(pacer):
    draw(pacer)
    second = draw(pacer)
    pacer.answered(second)  # the first answer was lost on the way
    assert not pacer.waiting


def test_an_answer_that_fits_no_question_counts_for_the_oldest(pacer):
    draw(pacer), draw(pacer)
    pacer.answered(119)
    assert pacer.waiting
    pacer.answered(119)
    assert not pacer.waiting


def test_questions_can_be_told_apart_on_any_usable_terminal(pacer):
    columns = set()
    for _ in range(3 * TAGS):
        columns.add(column := pacer.asked())
        pacer.answered(column)
    assert columns == set(range(1, TAGS + 1))


def test_a_terminal_that_never_answers_gets_two_frames_a_second(pacer, clock):
    frames = 0
    for _ in range(200):
        clock.wait(0.05)
        if pacer.may_draw():
            pacer.asked()
            frames += 1
    assert 20 <= frames <= 20 + MAX_IN_FLIGHT
    assert pacer.silence_s == 0
    assert not pacer.lost


def test_a_rate_set_by_hand_also_serves_terminals_that_never_answer(pacer, clock):
    assert pacer.next_rate() == 10
    frames = 0
    for _ in range(200):
        clock.wait(0.05)
        if pacer.may_draw():
            pacer.asked()
            frames += 1
    assert frames > 80


def test_a_question_is_repeated_alone_when_its_answer_does_not_come(pacer, clock):
    pacer.answered(draw(pacer))
    draw(pacer), draw(pacer)
    assert not pacer.should_probe()
    clock.wait(2.1)
    assert not pacer.may_draw()
    assert pacer.should_probe()
    probe = pacer.asked()
    assert not pacer.should_probe()
    pacer.answered(probe)
    assert pacer.may_draw()


def test_nothing_is_added_to_writes_that_do_not_leave_the_process(pacer, clock):
    pacer.written(backlog=True)
    assert not pacer.may_draw()
    clock.wait(301)
    assert pacer.lost
    pacer.written(backlog=False)
    assert pacer.may_draw()
    assert not pacer.lost


def test_a_terminal_that_answered_and_then_is_silent_for_minutes_is_gone(clock):
    pacer = Pacer(silence_limit_s=60, clock_s=clock)
    pacer.answered(draw(pacer))
    clock.wait(3600)  # nothing was asked: silence means nothing
    assert not pacer.lost
    draw(pacer)
    clock.wait(59)
    pacer.asked()
    assert not pacer.lost
    clock.wait(2)
    assert pacer.lost


def keep_pace(pacer: Pacer, clock: Clock, seconds: float, *, answering: bool) -> int:
    """Draw nothing for a while; returns how many questions went out."""
    count = 0
    for _ in range(round(seconds)):
        clock.wait(1.0)
        if pacer.should_probe():
            count += 1
            column = pacer.asked()
            if answering:
                pacer.answered(column)
    return count


def test_a_link_that_ends_while_nothing_is_drawn_is_noticed(pacer, clock):
    pacer.answered(draw(pacer))
    assert keep_pace(pacer, clock, 3600, answering=True) <= 60
    assert not pacer.lost
    keep_pace(pacer, clock, 400, answering=False)
    assert pacer.lost


def test_one_lost_answer_does_no_harm_while_nothing_is_drawn(pacer, clock):
    pacer.answered(draw(pacer))
    draw(pacer)
    keep_pace(pacer, clock, 400, answering=True)
    assert not pacer.lost


def test_answers_lost_while_the_terminal_was_out_of_our_hands_are_not_waited_for(pacer):
    pacer.answered(draw(pacer))
    draw(pacer), draw(pacer)
    pacer.forget()
    assert pacer.may_draw()


# ---- pictures


def pictures(pacer: Pacer, clock: Clock, seconds: float) -> int:
    count = 0
    for _ in range(round(seconds / 0.05)):
        clock.wait(0.05)
        count += pacer.picture_due()
    return count


def test_the_rate_goes_through_its_values_and_back_to_the_terminals_own(pacer):
    assert [pacer.by_hand_hz] + [pacer.next_rate() for _ in RATES_HZ] == [None, 10, 5, 2, 1, None]


@pytest.mark.parametrize("hz", [10, 5, 2, 1])
def test_pictures_come_at_the_rate_set_by_hand(pacer, clock, hz):
    pacer.answered(draw(pacer))
    while pacer.by_hand_hz != hz:
        pacer.next_rate()
    assert pictures(pacer, clock, 20) == pytest.approx(20 * hz, rel=0.02)


def test_a_terminal_that_keeps_up_gets_ten_pictures_a_second(pacer, clock):
    pacer.answered(draw(pacer))
    assert pictures(pacer, clock, 20) == pytest.approx(200, rel=0.02)


def test_the_session_is_looked_at_once_a_second_while_nothing_can_be_drawn(pacer, clock):
    pacer.answered(draw(pacer))
    draw(pacer), draw(pacer)
    clock.wait(2)
    assert pictures(pacer, clock, 20) == 20


# ---- the app


def app_for(feed: FakeFeed, clock: Clock | None = None) -> TelltickApp:
    app = TelltickApp(feed, Settings(), ascii_only=False, environ={})
    app.driver_class = PaperDriver
    if clock is not None:
        app.pacer = Pacer(clock_s=clock)
    return app


def shown(driver: PaperDriver) -> str:
    glass = Glass(120, 40)
    glass.draw_on("".join(driver.written))
    return glass.text()


async def test_a_stalled_terminal_is_drawn_on_no_more_and_shows_the_newest_picture_when_it_comes_back():
    feed = FakeFeed()
    app = app_for(feed)
    async with app.run_test(headless=False, size=(120, 40)) as pilot:
        driver = app._driver
        await until(pilot, lambda: feed.looks > 3)
        driver.answering = False
        await until(pilot, lambda: not app.pacer.may_draw())
        sent, seen = len(driver.written), feed.looks
        await until(pilot, lambda: feed.looks >= seen + 2)
        await pilot.press("?")  # even a key draws nothing
        await pilot.press("escape")
        assert len(driver.written) - sent <= 1  # the question asked again, at most
        feed.health = feed.health.__class__(-12.5, -3.0)
        driver.answering = True
        driver.answer("".join(driver.written[-MAX_IN_FLIGHT:]))
        await until(pilot, lambda: "-12.5" in shown(driver))


async def test_the_screen_leaves_a_terminal_that_is_silent_for_minutes_and_the_recorder_goes_on():
    feed, clock = FakeFeed(), Clock()
    app = app_for(feed, clock)
    async with app.run_test(headless=False, size=(120, 40)) as pilot:
        await until(pilot, lambda: app.pacer.answers)
        app._cut_loose = lambda: None
        app._driver.answering = False
        app.pacer.asked()
        clock.wait(299)
        app._keep_pace()
        assert app.return_value is None
        clock.wait(2)
        await until(pilot, lambda: app.return_value is not None)
    assert app.return_value is ScreenExit.LEAVE_RECORDING
    assert feed.asked == []


async def test_leaving_waits_for_the_answers_that_are_due():
    app = app_for(FakeFeed())
    async with app.run_test(headless=False, size=(120, 40)) as pilot:
        driver = app._driver
        await until(pilot, lambda: app.pacer.answers)
        driver.answering = False
        await until(pilot, lambda: app.pacer.waiting)
        app.leave(ScreenExit.LEAVE_RECORDING)
        assert app.return_value is None
        driver.answer("".join(driver.written))
        await until(pilot, lambda: app.return_value is ScreenExit.LEAVE_RECORDING)


async def test_leaving_does_not_wait_for_long():
    app = app_for(FakeFeed())
    async with app.run_test(headless=False, size=(120, 40)) as pilot:
        await until(pilot, lambda: app.pacer.answers)
        app._driver.answering = False
        await until(pilot, lambda: app.pacer.waiting)
        app.leave(ScreenExit.LEAVE_RECORDING)
        await until(pilot, lambda: app.return_value is ScreenExit.LEAVE_RECORDING)


async def test_the_key_for_the_rate_says_what_it_set():
    app = app_for(FakeFeed())
    async with app.run_test(headless=False, size=(120, 40)) as pilot:
        await pilot.press("r", "r")
        assert app.pacer.by_hand_hz == 5
        assert "5 per second" in app.session.query_one("#notice").text
