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


@pytest.mark.parametrize(("static", "lost_db"), [(False, 2.6), (True, 3.1)])
def test_nine_of_ten_hundreds_of_polls_are_proven_near_what_an_ideal_detector_needs(static, lost_db):
    """The ideal detector's I/N by SciPy's gamma quantiles; 2.4 dB cannot be won with one control a poll."""
    i_over_n = 10 ** ((ideal_db(0.9, static=static) + lost_db) / 10)
    highest = polls_with(np.random.default_rng(7), 150, i_over_n, static=static)
    assert np.mean(np.array(highest) >= np.log(100)) >= 0.9
