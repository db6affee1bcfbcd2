"""What is heard of a saved session, by a loudspeaker that only takes notes."""

from __future__ import annotations

from itertools import islice

import numpy as np
import pytest

from telltick.assets import shipped
from telltick.engine import ears as engine_ears
from telltick.engine.ears import ORDER, Ears, Hearing
from telltick.engine.offline import measure_session
from telltick.model.clock import NS
from telltick.model.errors import BadInputError
from telltick.sources.loudspeaker import FIRST_VOLUME_DB, Loudspeaker, at_volume
from telltick.store.session import SessionReader

SESSION = "2026-05-02T1903Z-larkfell-hut"


class Notes:
    """Plays nothing, keeps what it would have played."""

    def __init__(self) -> None:
        self.blocks, self.rate_hz, self.stops = iter(()), 0, 0

    def play(self, blocks, rate_hz) -> None:
        self.blocks, self.rate_hz = blocks, rate_hz

    def stop(self) -> None:
        self.stops += 1
        self.blocks = iter(())

    def turn(self, by_db) -> float:
        return by_db

    def heard(self, seconds: float) -> np.ndarray:
        count = int(seconds * self.rate_hz)
        taken = list(islice(self.blocks, int(seconds / 0.1) + 10))
        return np.concatenate(taken)[:count]


@pytest.fixture(scope="module")
def folder():
    return shipped("recordings") / SESSION


@pytest.fixture(scope="module")
def latency(folder):
    with SessionReader(folder) as reader:
        return measure_session(reader).latency


@pytest.fixture
def ears(folder):
    made = Ears(folder, Notes())
    yield made
    made.close()


def test_the_session_is_heard_bit_for_bit_from_the_playhead_on(ears, folder, latency):
    ears.hear(Hearing.SESSION, 5 * NS, latency)
    with SessionReader(folder) as reader:
        at = int(float(reader.clock.nearest_s([5 * NS])[0]) * reader.facts.rate_hz)
        expected = reader.audio.read(at, 2 * reader.facts.rate_hz)
    assert np.array_equal(ears._speaker.heard(2.0), expected)


def test_quiet_and_polled_audio_take_turns_and_the_polled_is_louder(ears, latency):
    ears.hear(Hearing.TURNS, 10 * NS, latency)
    heard = ears._speaker.heard(4.6).astype(float)
    rate = ears._speaker.rate_hz
    quiet, polled = heard[int(0.5 * rate) : int(2.0 * rate)], heard[int(2.8 * rate) : int(4.3 * rate)]
    assert np.std(polled) > 1.1 * np.std(quiet)


def test_the_interference_alone_is_heard_where_frames_repeat(ears, latency):
    ears.hear(Hearing.ALONE, 10 * NS, latency)
    heard = ears._speaker.heard(3.0)
    assert 0 < np.max(np.abs(heard)) <= 0.26 * 32768


def test_what_cannot_be_heard_is_said_and_nothing_plays(ears, monkeypatch):
    with SessionReader(ears._folder) as reader:
        off_ns = next(m.settled_ns for m in reader.marks if m.factor == "polling" and m.value == "off")
    monkeypatch.setattr(engine_ears, "AROUND_S", 0.3)  # nothing but the pause lies so near
    with pytest.raises(BadInputError, match="quiet and polled"):
        ears.hear(Hearing.TURNS, off_ns + 2 * NS, None)
    assert not list(ears._speaker.blocks)


def test_one_key_goes_through_all_that_can_be_heard_and_ends_in_silence(ears, latency):
    assert [ears.next(10 * NS, latency) for _ in ORDER] == list(ORDER)
    assert ears.hearing is Hearing.NOTHING


def test_the_volume_starts_low_and_never_goes_above_the_recording():
    speaker = Loudspeaker()
    assert speaker.volume_db == FIRST_VOLUME_DB <= -20
    assert speaker.turn(+100) == 0
    loud = np.array([32767, -32768], dtype=np.int16)
    assert np.array_equal(at_volume(loud, 6.0), loud)
    assert np.array_equal(at_volume(loud, -20.0), [3277, -3277])
