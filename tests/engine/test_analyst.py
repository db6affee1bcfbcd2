"""The analyst: the same digits however a session is fed to it."""

from __future__ import annotations

import numpy as np
import pytest

from telltick.engine.analyst import Analyst
from telltick.engine.offline import measure_session
from telltick.measure.reading import take_reading
from telltick.measure.rows import PollRows
from telltick.model.clock import NS, Anchor
from telltick.store.journal import Journal
from telltick.store.segments import AudioWriter
from telltick.store.session import SessionReader
from tests.engine.sessions import RATE, STARTED, bench_facts, rendered, write_rendered, write_with_gap

SECONDS = 40
BEHIND_S = 0.5  # bursts are journalled this long after they were on the line, at most
FIELDS = ("start_s", "end_s", "on_s", "gate_share", "active", "quiet", "core", "slots")


def assert_same_rows(one: PollRows, other: PollRows) -> None:
    for field in FIELDS:
        assert np.array_equal(getattr(one, field), getattr(other, field), equal_nan=True), field


@pytest.fixture(scope="module")
def saved(tmp_path_factory):
    """A whole session of 40 s."""
    folder = write_rendered(tmp_path_factory.mktemp("saved") / "s", rendered(seconds=SECONDS))
    with SessionReader(folder) as reader:
        yield reader


@pytest.fixture(scope="module")
def live(tmp_path_factory):
    """An analyst that followed the same session while it was written, a fifth of a second at a time."""
    folder = tmp_path_factory.mktemp("live")
    session = rendered(seconds=SECONDS)
    bursts = list(session.bursts)
    with Journal.create(folder, bench_facts()) as journal, AudioWriter(folder, RATE) as writer:
        journal.add_anchor(Anchor(0, 0, 0, STARTED))
        reader = SessionReader(folder)
        analyst = Analyst(reader)
        for first in range(0, SECONDS * RATE, RATE // 5):
            writer.write(session.audio[first : first + RATE // 5])
            now_ns = writer.samples * NS // RATE
            if first % RATE == 0:
                journal.add_anchor(Anchor(0, first, first * NS // RATE, STARTED))
            over = [burst for burst in bursts if burst.end_ns <= now_ns]
            journal.add_bursts(over)
            bursts = bursts[len(over) :]
            reader.refresh()
            analyst.advance(max(0, writer.samples - round(BEHIND_S * RATE)), writer.samples)
        analyst.advance(writer.samples)
        yield analyst
        reader.close()


def test_rows_measured_live_are_those_measured_at_once_to_the_last_digit(saved, live):
    whole = Analyst(saved)
    whole.latency = live.latency
    whole.advance(SECONDS * RATE)
    whole.latency = live.latency
    assert_same_rows(live.rows(0, np.inf), whole.rows(0, np.inf))


def test_the_live_reading_is_the_offline_one(saved, live):
    offline = measure_session(saved).whole
    reading = take_reading(live.rows(0, np.inf), latency=live.latency)
    # The latency was settled early in the session, so the gate lies a fraction of a millisecond elsewhere.
    assert reading.polls == pytest.approx(offline.polls, abs=1)
    assert reading.verdict is offline.verdict
    assert reading.excess_db.value == pytest.approx(offline.excess_db.value, abs=0.05)
    assert reading.noise_dbfs == pytest.approx(offline.noise_dbfs, abs=0.05)
    assert live.latency.seconds.value == pytest.approx(rendered(seconds=SECONDS).latency_s, abs=0.003)


def test_both_are_near_the_truth_of_the_bench(saved, live):
    (truth,) = rendered(seconds=SECONDS).truth
    offline = measure_session(saved).whole
    # Issue: at most 0.3 dB of error on clean noise for 1 to 20 dB of excess.
    assert offline.excess_db.value == pytest.approx(truth.excess_db, abs=0.3)
    assert offline.noise_dbfs == pytest.approx(truth.noise_dbfs, abs=0.3)


def test_rows_measured_backwards_are_those_measured_forwards(saved, live):
    backward = Analyst(saved)
    backward.latency = live.latency
    backward.restart(25 * RATE, 0)
    backward.advance(SECONDS * RATE)
    looks = 1
    while not backward.backfill(0.0, budget_s=7.0):
        looks += 1
    assert looks == 4  # 25 s in pieces of 7
    assert_same_rows(backward.rows(0, np.inf), live.rows(0, np.inf))


def test_nothing_is_known_before_there_is_audio_enough(saved):
    analyst = Analyst(saved)
    analyst.advance(RATE // 2)
    assert analyst.rows(0, np.inf) is None
    assert analyst.latency is None
    assert analyst.shift_s == 0.0


def test_advancing_to_where_it_is_already_changes_nothing(saved):
    analyst = Analyst(saved)
    analyst.advance(20 * RATE)
    before = analyst.rows(0, np.inf)
    for _ in range(3):
        analyst.advance(20 * RATE)
    assert_same_rows(before, analyst.rows(0, np.inf))


def test_forgotten_rows_can_be_measured_again(saved):
    analyst = Analyst(saved)
    analyst.advance(SECONDS * RATE)
    before = analyst.rows(0, np.inf)
    analyst.forget_before(20.0)
    assert analyst.cover_s == 20.0
    assert analyst.rows(0, 19.9) is None
    while not analyst.backfill(0.0):
        pass
    assert_same_rows(before, analyst.rows(0, np.inf))


def test_each_side_of_a_gap_has_a_latency_of_its_own(tmp_path):
    before, after = rendered(2, 30.0, latency_s=0.050), rendered(3, 30.0, latency_s=0.090)
    folder = write_with_gap(tmp_path / "s", before, after, gap_s=4.0)
    with SessionReader(folder) as reader:
        analyst = Analyst(reader)
        analyst.advance(30 * RATE)
        assert analyst.latency.seconds.value == pytest.approx(0.050, abs=0.003)
        analyst.restart(30 * RATE, 1)
        assert analyst.latency is None
        analyst.advance(60 * RATE)
        assert analyst.latency.seconds.value == pytest.approx(0.090, abs=0.003)
