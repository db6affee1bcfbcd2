"""The poller's schedule, with a clock of our own."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from telltick.model.clock import NS
from telltick.sources.schedule import MOST_JITTER, Schedule


def slots(schedule: Schedule, count: int, busy_ns: int = 0) -> np.ndarray:
    """Due times when each slot is used at once and keeps the caller busy for a while."""
    due, now = [], 0
    for _ in range(count):
        due.append(schedule.next_slot(now).due_ns)
        now = due[-1] + busy_ns
    return np.array(due)


def started(interval_s: float, jitter_ms: float, seed: int = 1) -> Schedule:
    schedule = Schedule(interval_s, jitter_ms, seed)
    schedule.restart(0)
    return schedule


def test_jitter_is_uniform_within_its_bounds():
    due = slots(started(0.2, 10.0), 5000)
    offset_ms = (due - np.arange(5000) * 200_000_000) / 1e6 - 10.0
    # Kolmogorov-Smirnov against scipy.stats.uniform
    assert stats.kstest(offset_ms, stats.uniform(-10, 20).cdf).pvalue > 0.01
    assert abs(offset_ms).max() <= 10.0


def test_neighbouring_slots_are_jittered_independently():
    due = slots(started(0.2, 10.0), 5000)
    offset = due - np.arange(5000) * 200_000_000
    correlation = np.corrcoef(offset[1:], offset[:-1])[0, 1]
    assert abs(correlation) < 3 / np.sqrt(5000)


def test_the_schedule_never_drifts_however_late_each_poll_ends():
    due = slots(started(0.2, 10.0), 36_000, busy_ns=150_000_000)
    assert due[-1] == pytest.approx(35_999 * 200_000_000, abs=20_000_000)


def test_without_jitter_the_slots_are_exactly_periodic():
    assert set(np.diff(slots(started(0.25, 0.0), 100))) == {250_000_000}


def test_a_seed_gives_the_same_schedule_again():
    assert (slots(started(0.2, 10.0, seed=7), 50) == slots(started(0.2, 10.0, seed=7), 50)).all()


def test_slots_missed_in_a_stall_are_skipped_and_not_made_up_for():
    schedule = started(0.2, 10.0)
    slots(schedule, 3)
    after = [schedule.next_slot(3600 * NS).due_ns]
    for _ in range(3):
        after.append(schedule.next_slot(after[-1]).due_ns)
    assert after[0] >= 3600 * NS
    assert min(np.diff(after)) >= 180_000_000


@given(
    interval_s=st.floats(0.01, 5), jitter_ms=st.floats(0, 1000), busy=st.floats(0, 3), seed=st.integers(0, 99)
)
def test_slots_keep_their_order_and_distance_whatever_the_plan(interval_s, jitter_ms, busy, seed):
    schedule = started(interval_s, jitter_ms, seed)
    due = slots(schedule, 30, busy_ns=round(busy * interval_s * NS))
    assert (np.diff(due) >= (1 - 2 * MOST_JITTER) * schedule.interval_ns - 1).all()


def test_a_new_interval_counts_from_the_moment_it_is_set():
    schedule = started(10.0, 10.0)
    slots(schedule, 2)
    schedule.restart(11 * NS, 0.1)
    first, second = (schedule.next_slot(11 * NS).due_ns for _ in range(2))
    assert 11 * NS <= first <= 11 * NS + 20_000_000
    assert second - first == pytest.approx(100_000_000, abs=20_000_000)
