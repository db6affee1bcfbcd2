"""The poller's schedule, with a clock of our own."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from telltick.model.clock import NS
from telltick.model.trial import Rhythm, rhythm_for
from telltick.sources.schedule import MOST_JITTER, Schedule, TrialSchedule


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


MS = NS // 1000


def draws(seed: int, leg: int = 0, count: int = 4000, slots: int = 5, busy_ns: int = 0) -> list:
    """The draws of a coin trial whose polls keep the caller busy for a while."""
    schedule = TrialSchedule(Rhythm(slots, 40 * MS), seed, leg)
    schedule.restart(NS)
    out, now = [], NS
    for _ in range(count):
        slot = schedule.next_slot(now)
        assert slot.due_ns == slot.drawn.cycle_ns + slot.drawn.slot * slot.drawn.slot_ns
        out.append(slot.drawn)
        now = slot.due_ns + busy_ns
    return out


@pytest.mark.parametrize("slots", [2, 5, 16])
def test_a_coin_trial_draws_every_slot_equally_often(slots):
    drawn = [one.slot for one in draws(7, slots=slots)]
    # Pearson's chi-squared against scipy.stats.chisquare
    assert stats.chisquare(np.bincount(drawn, minlength=slots)).pvalue > 0.01


def test_a_draw_tells_nothing_about_the_next_one():
    drawn = np.array([one.slot for one in draws(8)])
    table = np.histogram2d(drawn[:-1], drawn[1:], bins=5)[0]
    assert stats.chi2_contingency(table).pvalue > 0.01


def test_the_draws_repeat_from_the_seed_and_differ_between_legs():
    assert draws(7, count=50) == draws(7, count=50)
    assert [one.slot for one in draws(7, count=50)] != [one.slot for one in draws(7, leg=1, count=50)]


def test_each_cycle_has_one_poll_and_cycles_follow_without_pause():
    drawn = draws(7, count=500, busy_ns=30 * MS)
    assert [one.cycle for one in drawn] == list(range(500))
    assert [one.cycle_ns for one in drawn] == [NS + cycle * 200 * MS for cycle in range(500)]


def test_a_cycle_whose_slot_was_missed_gets_no_poll_and_the_draws_go_on_as_if_it_had():
    schedule = TrialSchedule(Rhythm(5, 40 * MS), 7, 0)
    schedule.restart(0)
    later = schedule.next_slot(3600 * NS)
    assert later.due_ns >= 3600 * NS
    everything = {one.cycle: one.slot for one in draws(7, count=20_000)}
    assert later.drawn.slot == everything[later.drawn.cycle]


@pytest.mark.parametrize(
    ("interval_ms", "need_ms", "slots", "slot_ms"),
    [(200, 38, 5, 40), (1000, 38, 16, 62.5), (200, 39, 5, 40), (200, 41, 5, 41), (100, 80, 5, 80)],
)
def test_a_cycle_has_as_many_slots_as_fit_from_five_to_sixteen(interval_ms, need_ms, slots, slot_ms):
    rhythm = rhythm_for(interval_ms * MS, need_ms * MS)
    assert (rhythm.slots, rhythm.slot_ns) == (slots, slot_ms * MS)
    assert rhythm.stretched == (rhythm.cycle_ns > interval_ms * MS)
    assert ("longer than the poll interval" in str(rhythm)) == rhythm.stretched
