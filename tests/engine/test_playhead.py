"""The playhead: play, pause, speed, seek; moved by an injected clock."""

from __future__ import annotations

import pytest

from telltick.engine.replay import Playhead
from telltick.model.clock import NS


class Clock:
    def __init__(self) -> None:
        self.ns = 1_000

    def __call__(self) -> int:
        return self.ns

    def pass_s(self, seconds: float) -> None:
        self.ns += int(seconds * NS)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def head(clock) -> Playhead:
    return Playhead(2 * NS, 100 * NS, clock)


def test_it_moves_with_the_clock_from_the_first_audio_on(head, clock):
    assert head.position_ns == 2 * NS
    clock.pass_s(3)
    assert head.position_ns == 5 * NS


def test_a_pause_holds_it_and_playing_goes_on_from_there(head, clock):
    clock.pass_s(3)
    head.toggle()
    clock.pass_s(60)
    assert head.position_ns == 5 * NS
    head.toggle()
    clock.pass_s(1)
    assert head.position_ns == 6 * NS


def test_a_new_speed_counts_from_now_on(head, clock):
    clock.pass_s(1)
    head.set_speed(16)
    clock.pass_s(2)
    assert head.position_ns == 35 * NS


def test_it_stops_at_the_end_and_starts_over_when_played_again(head, clock):
    clock.pass_s(1000)
    assert head.at_end
    assert head.position_ns == 100 * NS
    head.toggle()
    head.toggle()
    assert head.position_ns == 2 * NS


def test_seeking_stays_within_the_session(head):
    head.seek(-5 * NS)
    assert head.position_ns == 2 * NS
    head.seek(500 * NS)
    assert head.position_ns == 100 * NS
