from dataclasses import replace
from functools import cache

import pytest

from telltick.measure.answers import answers_of
from telltick.measure.setups import more_seconds
from telltick.model.readings import Estimate, Reading
from tests.benchmarks.drift import held
from tests.measure.benches import Swap, round_of

A_B_A_B = (("antenna", "dummy load"), ("antenna", "beam"), ("antenna", "dummy load"))
# The choke goes on in the middle of the second hands-on time, and nobody says so.
SECRET = (Swap(17.4, "choke", "fitted"),)


@cache
def steady():
    return round_of(11, "cable", 8.0, *A_B_A_B)


@cache
def drifting():
    return round_of(11, "cable", 8.0, *A_B_A_B, unmarked=SECRET)


def test_steps_with_one_setup_are_pooled_although_others_lie_between_them():
    setups = steady().answers().setups
    assert [one.steps for one in setups] == [(0, 2), (1, 3)]
    assert [one.reading.polls for one in setups] == [
        sum(steady().steps[i].reading.polls for i in steps) for steps in ((0, 2), (1, 3))
    ]


def test_the_pooled_reading_is_sharper_than_its_steps_are_on_the_whole():
    def width(reading):
        return reading.excess_db.high - reading.excess_db.low

    pooled = steady().answers().setups[0].reading
    assert 2 * width(pooled) < sum(width(steady().steps[i].reading) for i in (0, 2))


def test_another_spelling_and_a_coin_trial_are_the_same_setup():
    steps = list(steady().steps)
    said = {**steps[2].step.setup, "antenna": "Beam ", "coin trial": "on"}
    steps[2] = replace(steps[2], step=replace(steps[2].step, setup=said))
    assert answers_of(steps, steady().rows, steady().latency).setups[0].steps == (0, 2)


def test_a_bench_that_comes_back_to_what_it_was_is_not_called_drifting():
    answers = steady().answers()
    assert not any(one.drifted for one in answers.setups)
    assert answers.warnings == ()
    assert answers.setups[0].drift_db.low < 0 < answers.setups[0].drift_db.high


def test_a_bench_that_drifted_by_itself_is_told_with_its_steps():
    answers = drifting().answers()
    assert [one.drifted for one in answers.setups] == [True, True]
    assert "steps 1 and 3 have the same setup, and their excess differs by" in answers.warnings[0]
    by_length = sorted(drifting().session.truth, key=lambda one: one.start_s - one.end_s)
    before, after = sorted(
        (one for one in by_length[:4] if one.noise_dbfs > -45), key=lambda one: one.start_s
    )
    assert (
        answers.setups[0].drift_db.low
        < after.excess_db - before.excess_db
        < answers.setups[0].drift_db.high
        < -2
    )


def test_drift_widens_the_intervals_until_they_cover_both_sides_of_it():
    reading = drifting().answers().setups[0].reading
    assert reading.excess_db.low < drifting().steps[2].reading.excess_db.value
    assert reading.excess_db.high > drifting().steps[0].reading.excess_db.value


def test_a_drifting_bench_leaves_a_swap_of_that_size_undecided():
    swap = drifting().answers().changes[0]
    assert swap.factors == ("antenna",)
    assert swap.words == "undecided"
    assert "more polls alone would not decide it" in swap.because


@pytest.mark.parametrize("drift_db", [0.0, 0.1, 0.4])
def test_intervals_of_a_bench_that_drifts_hold_what_is_true_as_often_as_they_say(drift_db):
    share, half_db = held((2, 2), drift_db, benches=400)
    assert share > 0.92  # three standard deviations below 95 %
    assert half_db < max(0.6, 4 * drift_db)  # and tell something still


@pytest.mark.parametrize(("half_db", "more_s"), [(0.4, 0.0), (0.5, 0.0), (1.0, 30.0)])
def test_more_seconds_are_asked_for_until_half_a_decibel_either_way(half_db, more_s):
    reading = Reading(50, 10.0, excess_db=Estimate(3.0, 3.0 - half_db, 3.0 + half_db))
    assert more_seconds(reading) == pytest.approx(more_s)


def test_seconds_cannot_be_told_without_a_reading():
    assert more_seconds(Reading(3, 1.0)) is None
