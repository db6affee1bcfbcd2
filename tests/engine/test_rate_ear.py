from itertools import chain, repeat
from pathlib import Path

import pytest

from telltick.assets import shipped
from telltick.engine.rate_ear import SHARE, RateEar
from telltick.engine.replay import SavedFeed
from telltick.model.characteristics import CharacterRate
from telltick.model.clock import NS
from telltick.model.snapshot import View

FOLDER = next(path for path in Path(shipped("recordings")).iterdir() if path.is_dir())
AT_S = 20.0


class Clock:
    """Moves on by `cost_s` with every look at it."""

    def __init__(self, cost_s: float = 0.0) -> None:
        self.now_s, self.cost_s = 0.0, cost_s

    def __call__(self) -> float:
        self.now_s += self.cost_s
        return self.now_s


@pytest.fixture(scope="module")
def replay():
    feed = SavedFeed(FOLDER, clock_ns=lambda: 0)
    feed.toggle()
    feed.seek(int(AT_S * NS))
    yield feed
    feed.close()


@pytest.fixture(scope="module")
def latency_s(replay) -> float:
    return replay.look(View()).latency.seconds.value


def test_replay_shows_the_baud_that_was_polled_with(replay):
    shown = replay.look(View())
    assert shown.character is not None
    assert shown.character.baud == shown.polling.baud


def test_a_step_too_short_says_nothing(replay, latency_s):
    assert RateEar(replay._reader, Clock()).listen(AT_S - 3.0, AT_S, latency_s) is None


def test_gated_at_the_wrong_time_no_rate_is_named(replay, latency_s):
    assert RateEar(replay._reader, Clock()).listen(AT_S - 12.0, AT_S, latency_s + 0.1) is None


def test_another_step_begins_anew_and_listening_takes_no_more_than_its_share_of_time(replay, latency_s):
    clock = Clock(cost_s=0.03)
    ear = RateEar(replay._reader, clock)
    assert ear.listen(AT_S - 12.0, AT_S, latency_s) is not None
    assert ear.listen(AT_S - 11.0, AT_S, latency_s) is None  # another step: not listened to yet
    clock.now_s += 0.03 / SHARE
    assert ear.listen(AT_S - 11.0, AT_S, latency_s) is not None


RATE = CharacterRate(baud=4800, framing=None, score=0.5, lead=0.2)
OTHER = CharacterRate(baud=9600, framing=None, score=0.5, lead=0.2)


@pytest.mark.parametrize(
    ("says", "expected"),
    [
        ([RATE], [4, 14, 44, 74]),  # the same twice
        ([None], [4, 14, 24, 34, 64]),  # nothing in a whole window
        ([RATE, OTHER, OTHER], [4, 14, 24, 54]),
    ],
)
def test_once_another_look_tells_nothing_new_a_window_goes_by(replay, monkeypatch, says, expected):
    clock, heard = Clock(), []
    ear = RateEar(replay._reader, clock)
    said = chain(says, repeat(says[-1]))
    monkeypatch.setattr(ear, "_hear", lambda _, end_s, __: heard.append(end_s) or next(said))
    for second in range(80):
        clock.now_s += 1.0
        ear.listen(1000.0, 1000.0 + second, 0.05)
    assert [at_s - 1000.0 for at_s in heard] == expected
