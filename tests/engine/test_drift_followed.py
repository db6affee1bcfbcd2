"""A clock that drifts is followed live for as long as it lasts, and live and saved agree."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from telltick.engine.analyst import Analyst
from telltick.engine.offline import measure_session
from telltick.measure.reading import take_reading
from telltick.model.clock import NS, Anchor
from telltick.model.readings import Estimate, Latency
from telltick.model.session import Ending
from telltick.model.traffic import Burst, Direction
from telltick.store.journal import Journal
from telltick.store.session import SessionReader
from tests.engine.sessions import STARTED, bench_facts, write_audio
from tests.scenes import make_scene

RATE_HZ, SECONDS, PPM = 8000, 420.0, 100.0  # 42 ms in seven minutes: more than a poll is long


@pytest.fixture(scope="module")
def scene():
    return make_scene(3, excess_db=6.0, seconds=SECONDS, rate_hz=RATE_HZ, jitter_s=0.001)


@pytest.fixture(scope="module")
def folder(scene, tmp_path_factory) -> Path:
    """A session whose serial times come from a clock that is slow by 100 ppm."""
    folder = tmp_path_factory.mktemp("drift") / "s"
    folder.mkdir(mode=0o700)
    gate, slow = scene.gate, 1 / (1 + 1e-6 * PPM)
    with Journal.create(folder, bench_facts(RATE_HZ)) as journal:
        write_audio(folder, [scene.samples], RATE_HZ)
        with journal.batch():
            journal.add_anchor(Anchor(0, 0, 0, STARTED))
            journal.add_bursts(
                Burst(
                    round(start * slow * NS),
                    round((start * slow + end - start) * NS),
                    Direction.RX if rx else Direction.TX,
                    data,
                    int(poll),
                )
                for start, end, rx, poll, data in zip(
                    gate.start_s, gate.end_s, gate.rx, gate.poll, gate.data, strict=True
                )
            )
            journal.end(Ending(round(SECONDS * NS), "time is up"))
    return folder


@pytest.fixture(scope="module")
def followed(folder):
    """An analyst that has looked at the session every five seconds."""
    with SessionReader(folder) as reader:
        analyst = Analyst(reader)
        for second in range(5, int(SECONDS) + 1, 5):
            analyst.advance(second * RATE_HZ)
        yield analyst


def test_the_latency_told_live_is_right_to_two_milliseconds_after_minutes_of_drift(scene, followed):
    at_s = np.array([SECONDS - 5])
    expected = scene.latency_s + 1e-6 * PPM * at_s
    assert followed.latency.shift_s(at_s) == pytest.approx(expected, abs=0.002)
    assert followed.latency.drift_ppm == pytest.approx(PPM, abs=15)


def test_live_and_saved_agree_to_a_twentieth_of_a_decibel(scene, folder, followed):
    rows = followed.rows(0, np.inf)
    assert rows.seconds > SECONDS - 20
    live = take_reading(rows, latency=followed.latency)
    with SessionReader(folder) as reader:
        saved = measure_session(reader)
    assert saved.latency.drift_ppm == pytest.approx(PPM, abs=5)
    assert live.excess_db.value == pytest.approx(saved.whole.excess_db.value, abs=0.05)
    assert live.excess_db.value == pytest.approx(6.0, abs=0.1)
    assert live.noise_dbfs == pytest.approx(saved.whole.noise_dbfs, abs=0.05)


def test_looking_back_from_the_end_follows_the_drift_backwards(scene, folder):
    with SessionReader(folder) as reader:
        analyst = Analyst(reader)
        analyst.restart(int(SECONDS - 60) * RATE_HZ, 0)
        analyst.advance(int(SECONDS) * RATE_HZ)
        while not analyst.backfill(0.0):
            pass
        reading = take_reading(analyst.rows(0, np.inf), latency=analyst.latency)
    assert reading.polls > 2000
    assert reading.excess_db.value == pytest.approx(6.0, abs=0.1)


def test_a_locked_latency_is_neither_looked_for_nor_followed(folder):
    locked = Latency(Estimate(0.123, 0.123, 0.123), locked=True)
    with SessionReader(folder) as reader:
        analyst = Analyst(reader)
        analyst.lock(locked)
        analyst.advance(60 * RATE_HZ)
        assert analyst.latency is locked
        assert analyst.shift_s == 0.123
        analyst.lock(None)
        analyst.advance(60 * RATE_HZ)
        assert analyst.latency.seconds.value == pytest.approx(0.04, abs=0.008)
