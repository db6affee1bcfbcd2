from itertools import product

import numpy as np
import pytest

from telltick.measure.evidence import sign_log_e, symmetric_log_e, tie_log_e, trial_log_e

DIFFERENCES = np.array([1.2, 2.4, 1.3, 1.3, 0.0, 1.0, 1.8, 0.8, 4.6, 1.4])
# Log-cosh e-process of Student's sleep data (1908); numbers from its formula, equal to a reference package.
PUBLISHED = {0.25: 17.6452373954394, 0.5: 76.5872084980826, 1.0: 271.261504290658, 2.0: 471.782182572304}


@pytest.mark.parametrize("bet", PUBLISHED)
def test_the_log_cosh_e_value_of_students_sleep_data_is_the_published_one(bet):
    assert np.exp(symmetric_log_e(DIFFERENCES, bet)[-1]) == pytest.approx(PUBLISHED[bet], rel=1e-12)


@pytest.mark.parametrize("log_e", [tie_log_e, sign_log_e, lambda d: symmetric_log_e(d, 0.5)])
def test_over_all_flips_of_signs_the_mean_e_value_is_one(log_e):
    flips = np.array(list(product([-1, 1], repeat=len(DIFFERENCES))))
    assert np.mean([np.exp(log_e(DIFFERENCES * flip)[-1]) for flip in flips]) == pytest.approx(1.0)


@pytest.mark.parametrize("slots", [2, 3, 6])
def test_over_all_possible_draws_the_mean_e_value_is_one(slots):
    log_power = np.random.default_rng(1).normal(size=(3, slots)) * [[1], [30], [0.1]]
    draws = np.array(list(product(range(slots), repeat=3)))
    e_values = np.exp([trial_log_e(log_power, draw) for draw in draws])
    assert e_values.mean(axis=0) == pytest.approx(1.0)


def slots_of(rng, runs, cycles, slots, i_over_n, *, static):
    """Log powers of slots with 72 degrees of freedom (30 ms of 2400 Hz), and the drawn slots."""
    power = rng.gamma(72, 1 / 72, (runs, cycles, slots))
    drawn = rng.integers(0, slots, (runs, cycles))
    power *= 1 + i_over_n * (np.arange(slots) == drawn[..., None])
    if static:
        power *= 10 ** (np.where(rng.random(power.shape) < 0.07, rng.uniform(5, 32, power.shape), 0) / 10)
    return np.log(power), drawn


@pytest.mark.parametrize("static", [False, True])
def test_continuous_watching_at_one_per_cent_is_fooled_at_most_once_in_a_hundred_runs(static):
    log_power, drawn = slots_of(np.random.default_rng(2), 400, 100, 6, 0.0, static=static)
    highest = np.array([trial_log_e(y, j).max() for y, j in zip(log_power, drawn, strict=True)])
    assert np.mean(highest >= np.log(100)) <= 0.01


@pytest.mark.parametrize("static", [False, True])
def test_interference_10_db_below_the_noise_is_proven_within_100_polls(static):
    log_power, drawn = slots_of(np.random.default_rng(3), 60, 100, 6, 0.1, static=static)
    proven = [trial_log_e(y, j).max() >= np.log(100) for y, j in zip(log_power, drawn, strict=True)]
    assert np.mean(proven) >= 0.9


def test_a_cycle_without_audio_does_not_count():
    log_power, drawn = slots_of(np.random.default_rng(4), 1, 20, 6, 1.0, static=False)
    with_gap = np.insert(log_power[0], 5, np.nan, axis=0)
    log_e = trial_log_e(with_gap, np.insert(drawn[0], 5, 0))
    assert log_e[5] == log_e[4]
    assert np.delete(log_e, 5) == pytest.approx(trial_log_e(log_power[0], drawn[0]))
