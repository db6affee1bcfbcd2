"""What bursts with the same bytes share: power free of the noise's, whatever the timing and phase."""

from dataclasses import replace

import numpy as np
import pytest

from telltick.measure.coherent import (
    MANNERS,
    SURE,
    Alike,
    alike_bursts,
    best_shared,
    chance_error,
    coherent_average,
    shared_power,
)
from tests.scenes import make_scene

RATE_HZ = 8000
AS_TIMED = MANNERS[0]


def longest(seed, i_over_n_db, **scene):
    """The group of replies of half a minute of polls."""
    excess_db = None if i_over_n_db is None else float(10 * np.log10(1 + 10 ** (i_over_n_db / 10)))
    made = make_scene(seed, excess_db=excess_db, rate_hz=RATE_HZ, **({"seconds": 30.0} | scene))
    groups = alike_bursts(made.samples, 0, RATE_HZ, made.gate.shifted(made.latency_s))
    return max(groups, key=lambda one: one.on_s)


def i_over_n_db(alike, shared):
    floor = alike.floor.sum() * alike.on_s * alike.rate_hz / alike.samples
    return 10 * np.log10(shared.power.sum() / floor)


@pytest.mark.parametrize(
    ("jitter_s", "random_phase"), [(0.0, False), (0.0, True), (0.001, False), (0.001, True)]
)
def test_the_power_is_told_rightly_when_timing_and_phase_are_found_burst_by_burst(jitter_s, random_phase):
    alike = longest(1, 6.0, jitter_s=jitter_s, random_phase=random_phase)
    assert i_over_n_db(alike, best_shared(alike)) == pytest.approx(6.0, abs=1.0)


def test_perfect_timing_shows_what_lies_far_below_the_noise():
    # Derived: n bursts of nu lines show I/N = 1.645 / sqrt(nu n (n - 1)) half the time at the 5 % level.
    sure = [shared_power(longest(seed, -18.0, random_phase=False), AS_TIMED).sure for seed in range(4)]
    assert min(sure) > 5
    assert np.mean(sure) > 7


def noise_alone(rng, bursts=40, lines=60):
    """A group of bursts of white noise and nothing else."""
    heard, quiet = rng.standard_normal((2, bursts, lines, 2)) @ np.array([1, 1j])
    freq_hz = 300 + 40.0 * np.arange(lines)
    return Alike(np.arange(bursts), 0.003, 200, freq_hz, heard, quiet, 0.024, RATE_HZ)


def test_the_error_of_what_noise_shares_is_the_derived_one():
    # Derived: |X|^2 of mean 2 in nu lines, n bursts: 2 sqrt(nu / (n (n - 1))).
    alike = noise_alone(np.random.default_rng(1), bursts=100)
    expected = 2 * np.sqrt(60 / (100 * 99))
    assert chance_error(alike.heard, np.ones(60)) == pytest.approx(expected, rel=0.05)


def test_scores_of_noise_alone_scatter_by_one():
    rng = np.random.default_rng(2)
    sure = [shared_power(noise_alone(rng), AS_TIMED).sure for _ in range(200)]
    assert 0.88 < np.std(sure) < 1.12  # two standard errors


def test_hum_in_step_with_the_polls_is_taken_off():
    rng = np.random.default_rng(3)
    calm = noise_alone(rng)
    hum = np.where(np.arange(60) % 7 == 0, 0.8, 0.0)  # alike in every burst and in the quiet beside
    humming = replace(calm, heard=calm.heard + hum, quiet=calm.quiet + hum)
    assert shared_power(humming, AS_TIMED).sure < 2
    assert shared_power(replace(calm, heard=calm.heard + hum), AS_TIMED).sure > 5


@pytest.mark.parametrize("seed", [1, 3, 5])
def test_what_leaks_from_mains_hum_into_steady_polls_is_not_taken_for_interference(seed):
    humming = longest(seed, None, seconds=20.5, background="hum", poll_jitter_s=0.0)
    assert max(shared_power(humming, manner).sure for manner in MANNERS) < SURE


@pytest.mark.parametrize("manner", MANNERS)
def test_noise_alone_shares_nothing_however_it_is_moved_and_turned(manner):
    sure = [shared_power(longest(seed, None, seconds=20.0), manner).sure for seed in range(6)]
    assert max(sure) < 4
    assert abs(np.mean(sure)) < 1.5


def test_a_tenth_of_a_millisecond_of_jitter_costs_decibels_and_fitting_wins_them_back():
    alike = longest(2, 0.0, jitter_s=0.0001, random_phase=False)
    as_timed, fitted = shared_power(alike, AS_TIMED), best_shared(alike)
    assert i_over_n_db(alike, as_timed) < -3
    assert i_over_n_db(alike, fitted) == pytest.approx(0.0, abs=1.0)


def averaged(seed, ratio_db, **scene):
    excess_db = None if ratio_db is None else float(10 * np.log10(1 + 10 ** (ratio_db / 10)))
    made = make_scene(seed, excess_db=excess_db, rate_hz=RATE_HZ, seconds=20.0, **scene)
    return coherent_average(made.samples, 0, RATE_HZ, made.gate.shifted(made.latency_s))


@pytest.mark.parametrize("random_phase", [False, True])
def test_the_average_says_how_much_is_shared_and_what_it_gains(random_phase):
    found = averaged(4, -6.0, random_phase=random_phase)
    assert found.reply
    assert (found.free_timing, found.free_phase) == (False, random_phase)
    assert found.i_over_n_db.low - 0.5 < -6.0 < found.i_over_n_db.high + 0.5
    # Derived: the mean of n bursts has 1/n of the noise's power; it can gain no more, and here hardly less.
    assert 10 * np.log10(found.bursts) - 1.5 < found.gain_db <= 10 * np.log10(found.bursts)


@pytest.mark.parametrize("scene", [{"ratio_db": None}, {"ratio_db": 3.0, "same": False}])
def test_without_interference_or_without_bytes_that_repeat_there_is_no_average(scene):
    assert averaged(5, **scene) is None
