from itertools import product

import numpy as np
import pytest

from telltick.measure.evidence import sign_log_e, symmetric_log_e, tie_log_e
from tests.benchmarks.false_alarms import ideal_db, polls_with

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


def test_against_both_sides_the_bet_is_fair_in_any_noise_that_is_the_same_at_all_times():
    """A ring of levels of any kind, the poll at each place in turn: mean 1 (Waudby-Smith and Ramdas 2024)."""
    ring = np.random.default_rng(4).gamma(0.3, 1.0, 40).cumsum() % 3.0
    first, log_e = np.array([0.8]), []
    for place in range(len(ring)):
        beside = ring[place] - ring[(place + np.array([-3, 3, -7, 7])) % len(ring)]
        sides = np.stack([np.full(4, np.nan), beside])
        log_e.append(tie_log_e(np.append(first, beside[0]), sides, spread=1.0)[-1])
    assert np.mean(np.exp(log_e)) == pytest.approx(
        np.exp(tie_log_e(first, sides[:1], spread=1.0)[0]), rel=1e-12
    )
    assert np.std(log_e) > 0.05


def test_what_scatters_more_than_noise_is_judged_by_the_signs_of_one_side_at_a_time():
    rng = np.random.default_rng(5)
    by_turns, sides = 9 * rng.normal(size=60), 9 * rng.normal(size=(60, 4))
    restless = tie_log_e(by_turns, sides, spread=1.0)
    assert np.allclose(restless, tie_log_e(3 * np.sign(by_turns) + 9 * by_turns, -sides, spread=1.0))
    assert not np.allclose(restless, tie_log_e(-by_turns, sides, spread=1.0))
    assert not np.allclose(tie_log_e(by_turns, sides, spread=9.0), tie_log_e(by_turns, -sides, spread=9.0))


@pytest.mark.parametrize(("static", "lost_db"), [(False, 1.5), (True, 1.65)])
def test_nine_of_ten_hundreds_of_polls_are_proven_near_what_an_ideal_detector_needs(static, lost_db):
    """The ideal detector's I/N by SciPy's gamma quantiles; 1.4 dB cannot be won with four controls a poll."""
    i_over_n = 10 ** ((ideal_db(0.9, static=static) + lost_db) / 10)
    highest = polls_with(np.random.default_rng(7), 150, i_over_n, static=static)
    assert np.mean(np.array(highest) >= np.log(100)) >= 0.9
