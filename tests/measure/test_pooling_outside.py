"""Drift between steps of one setup: against a statistics package that combines studies the same way."""

import numpy as np
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from telltick.measure.changes import judged_changes
from telltick.measure.equivalence import Mean
from telltick.measure.setups import Setup, drift_of, drifting
from telltick.measure.sides import Side
from telltick.model.readings import Reading


def setup_of(excess_db, error_db, seconds=None, cable="A"):
    """A setup with such steps, pooled as their rows would be: long steps count for more."""
    seconds = np.full(len(excess_db), 10.0) if seconds is None else np.asarray(seconds, dtype=float)
    each = tuple(
        Side(50, length, None, None, Mean(value, error, 30.0))
        for value, error, length in zip(*map(np.ndarray.tolist, (excess_db, error_db, seconds)), strict=True)
    )
    share = seconds / seconds.sum()
    pooled = Mean(float(share @ excess_db), float(np.sqrt(np.sum((share * error_db) ** 2))), 100.0)
    said, steps = {"cable": cable}, tuple(range(cable == "B", 2 * len(each), 2))
    whole = Side(50, float(seconds.sum()), None, None, pooled)
    return Setup(said, said, steps, whole, each, Reading(50, 10.0))


STEPS = {
    "drifting": ([6.0, 6.9, 5.6, 6.4], [0.2, 0.3, 0.15, 0.25]),
    "three steps": ([6.0, 7.5, 6.2], [0.3, 0.1, 0.5]),
    "steady": ([6.0, 6.1, 5.95, 6.05], [0.2, 0.3, 0.15, 0.25]),
}


@pytest.mark.filterwarnings("ignore:invalid value encountered in sqrt")  # in statsmodels, of the steady one
@pytest.mark.parametrize("name", STEPS)
def test_drift_and_its_scale_are_those_that_statsmodels_finds_between_studies(name):
    """DerSimonian and Laird's variance; the scale of Hartung, Knapp, Sidik and Jonkman."""
    values, errors = map(np.array, STEPS[name])
    expected = combine_effects(values, errors**2, method_re="dl", use_t=True)
    drift = drift_of([setup_of(values, errors)])
    assert drift.dof[2] == len(values) - 1
    assert drift.excess_db == pytest.approx(np.sqrt(max(expected.tau2, 0.0)), abs=1e-9)
    # statsmodels lets the variance fall below zero; at zero the scale is that of fixed effects
    scale = expected.scale_hksj_re if expected.tau2 > 0 else expected.scale_hksj_fe
    assert drift.scale[2] == pytest.approx(scale, rel=1e-9)


def test_the_interval_of_a_setup_come_back_to_is_that_of_statsmodels_where_steps_are_equally_long():
    values, errors = np.array([6.0, 6.9, 5.6, 6.4]), np.full(4, 0.2)
    expected = combine_effects(values, errors**2, method_re="dl", use_t=True)
    one = setup_of(values, errors)
    found = drifting(one, drift_of([one])).excess_db
    assert found is not None
    assert found.value == pytest.approx(expected.mean_effect_re, rel=1e-9)
    ends = found.interval(0.95)
    *_, (low, high) = expected.conf_int(alpha=0.05, use_t=True)  # random effects, scaled (HKSJ)
    assert (ends.low, ends.high) == pytest.approx((low, high), rel=1e-6)


def test_one_return_is_weighed_with_the_errors_of_the_steps_as_if_they_were_one_more():
    values, errors = np.array([6.0, 7.0]), np.array([0.2, 0.2])
    tau2 = combine_effects(values, errors**2, method_re="dl").tau2
    drift = drift_of([setup_of(values, errors)])
    assert drift.dof[2] == 2
    assert drift.excess_db == pytest.approx(np.sqrt(tau2 / 2), rel=1e-9)


def test_drift_averages_out_over_steps_that_count_and_not_over_short_ones():
    values, errors = np.array([6.0, 8.0, 5.0, 7.0]), np.full(4, 0.1)
    of_length = {
        name: drifting(one, drift_of([one])).excess_db
        for name, one in (
            ("one long", setup_of(values, errors, [3000.0, 1.0, 1.0, 1.0])),
            ("even", setup_of(values, errors)),
        )
    }
    long, even = of_length["one long"], of_length["even"]
    assert long is not None
    assert even is not None
    assert long.error == pytest.approx(2 * even.error, rel=0.01)  # as of one step, not of four


def test_intervals_hold_what_is_true_where_steps_are_of_unequal_length():
    rng = np.random.default_rng(21)
    held = 0
    for _ in range(300):
        pair = []
        for cable in "AB":
            seconds = rng.choice([10.0, 40.0, 160.0], 4)
            errors = 0.6 / np.sqrt(seconds)
            pair.append(setup_of(6 + rng.normal(0, 0.4, 4) + rng.normal(0, errors), errors, seconds, cable))
        (one,) = judged_changes(pair, drift_of(pair), 1.0)
        assert one.change.excess_db is not None
        held += one.change.excess_db.low <= 0 <= one.change.excess_db.high
    assert held / 300 > 0.92  # two and a half standard deviations below 95 %
