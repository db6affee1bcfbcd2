"""Measuring beside the screen: given up, and begun anew before it has noticed."""

from __future__ import annotations

import threading

import pytest

from telltick.model.errors import CancelledError
from telltick.ui.measuring import Measuring

PATIENCE_S = 20.0


class Slow:
    """Measures until it is let go, and looks only then whether it shall go on."""

    def __init__(self) -> None:
        self.begun, self.let_go, self.times = threading.Event(), threading.Event(), 0

    def __call__(self, progress) -> str:
        self.times += 1
        self.begun.set()
        assert self.let_go.wait(PATIENCE_S)
        if not progress(0.5):
            raise CancelledError("given up")
        return f"measurement {self.times}"


@pytest.fixture
def slow():
    measure = Slow()
    yield measure
    measure.let_go.set()


def ended(measuring: Measuring) -> bool:
    measuring._thread.join(PATIENCE_S)
    return not measuring._thread.is_alive()


def test_measuring_that_was_given_up_is_begun_anew_by_one_request(slow):
    measuring = Measuring(slow, lambda: None)
    assert measuring.start(1)
    assert slow.begun.wait(PATIENCE_S)
    measuring.cancel()
    assert measuring.start(2)
    assert measuring.busy
    slow.let_go.set()
    assert ended(measuring)
    results = measuring.results
    assert (results.measurement, results.taken_ns, results.trouble) == ("measurement 2", 2, "")


def test_measuring_that_is_wanted_is_not_begun_twice(slow):
    measuring = Measuring(slow, lambda: None)
    assert measuring.start(1)
    assert not measuring.start(2)
    slow.let_go.set()
    assert ended(measuring)
    assert (slow.times, measuring.results.taken_ns) == (1, 1)


def test_whoever_gives_up_twice_gets_no_measurement(slow):
    measuring = Measuring(slow, lambda: None)
    measuring.start(1)
    assert slow.begun.wait(PATIENCE_S)
    measuring.cancel()
    measuring.start(2)
    measuring.cancel()
    slow.let_go.set()
    assert ended(measuring)
    assert (slow.times, measuring.results.trouble) == (1, "measuring was stopped")
    assert measuring.start(3)
    assert ended(measuring)
    assert measuring.results.measurement == "measurement 2"
