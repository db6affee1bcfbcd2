"""Trying inputs before anything is recorded: a pseudo-terminal answers, a made-up input plays."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from telltick.engine.tryout import InputTryout, ask_once
from telltick.model.plan import AudioPlan, PollPlan
from telltick.sources.audio import AudioBlock
from tests.sources.far_end import FarEnd


@pytest.fixture
def radio():
    end = FarEnd()
    yield end
    end.hang_up()


def asked(radio: FarEnd, reply: bytes, **plan):
    """Ask once while a thread answers; returns what the radio heard, and the answer."""
    heard: list[bytes] = []

    def answer() -> None:
        heard.append(radio.hear(3))
        if reply:
            radio.say(reply)

    thread = threading.Thread(target=answer)
    thread.start()
    found = ask_once(PollPlan(port=radio.path, frame_text="XX;", baud=38400, **plan))
    thread.join(10)
    return heard[0], found


def test_one_request_goes_out_and_its_reply_comes_back_with_its_timing(radio):
    heard, answer = asked(radio, b"XX00014100000;", reply_terminator="3b")
    assert heard == b"XX;"
    assert answer.reply == b"XX00014100000;"
    assert answer.complete
    assert 0 <= answer.reply_ms < 5000
    assert answer.trouble == ""


def test_a_reply_whose_end_nobody_knows_yet_is_shown_all_the_same(radio):
    _, answer = asked(radio, b"\xfe\xfe\x01\x02\xfd")
    assert answer.reply == b"\xfe\xfe\x01\x02\xfd"


def test_a_radio_that_stays_silent_is_said(radio):
    _, answer = asked(radio, b"", reply_terminator="3b", reply_timeout_ms=50)
    assert not answer.complete
    assert "no reply came" in answer.trouble


def test_a_port_that_is_not_there_is_said_and_nothing_is_raised():
    answer = ask_once(PollPlan(port="/dev/no-such-port", frame_text="XX;"))
    assert "/dev/no-such-port" in answer.trouble


class Played:
    """A sound input that delivers what a test gives it."""

    rate_hz, over = 8000, False

    def __init__(self, name: str, trouble: str | None = None) -> None:
        self.name, self.trouble = name, trouble
        self.stopped = False

    def start(self, sink) -> None:
        self.sink = sink

    def play(self, samples) -> None:
        self.sink(AudioBlock(np.asarray(samples, dtype=np.int16), 0))

    def stop(self) -> None:
        self.stopped = True

    def problem(self) -> str | None:
        return self.trouble


def listened(name: str, peak: int, trouble: str | None = None):
    source = Played(name, trouble)
    tryout = InputTryout(AudioPlan(rate_hz=8000), lambda plan: source)
    t = np.arange(8000) / 8000
    for _ in range(5):
        source.play(np.clip(peak * np.sin(2 * np.pi * 440 * t), -32768, 32767))
    health = tryout.look()
    tryout.close()
    assert source.stopped
    return health


def test_the_level_of_a_full_scale_sine_is_0_dbfs():
    # AES17: 0 dBFS is the r.m.s. of a full-scale sine.
    assert listened("line", 32767).level_dbfs == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize(
    ("name", "peak", "trouble", "said"),
    [
        ("line in", 3000, None, ""),
        ("line in", 60_000, None, "clips"),
        ("line in", 2, None, "very quiet"),
        ("Built-in Microphone", 3000, None, "looks like a microphone"),
        ("line in", 3000, "the input stalled", "the input stalled"),
    ],
)
def test_advice_says_what_is_wrong_with_an_input(name, peak, trouble, said):
    advice = listened(name, peak, trouble).advice
    assert said in advice if said else advice == ""
