"""Equivalence, correction for many, ratios: against numbers in print and statistics packages."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.weightstats import ttost_ind

from telltick.measure.equivalence import (
    Mean,
    holm,
    p_above,
    p_below,
    p_differs,
    p_unequal,
    p_within,
    ratio_interval,
)

# Student, "The probable error of a mean", Biometrika 6 (1908): additional hours of sleep with two drugs.
DRUG_1 = np.array([0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0])
DRUG_2 = np.array([1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4])


def mean_of(values):
    return Mean(values.mean(), values.std(ddof=1) / np.sqrt(len(values)), len(values) - 1)


def test_two_one_sided_tests_of_students_sleep_data_are_as_printed():
    """Welch, bounds of plus and minus 1: t, p, freedom and interval of a published worked example."""
    difference = mean_of(DRUG_1) - mean_of(DRUG_2)
    lower_t, upper_t = ((difference.value - bound) / difference.error for bound in (-1, 1))
    assert (lower_t, upper_t) == pytest.approx((-0.6830834, -3.0385435), abs=1e-6)
    assert p_above(difference, -1) == pytest.approx(0.748319811, abs=1e-8)
    assert p_below(difference, 1) == pytest.approx(0.003570669, abs=1e-8)
    assert difference.dof == pytest.approx(17.77647, abs=1e-5)
    ends = difference.interval(0.90)
    assert (ends.low, ends.high) == pytest.approx((-3.053381, -0.1066185), abs=1e-6)


@pytest.mark.parametrize("bound", [0.3, 1.0, 4.0])
def test_equivalence_is_that_of_statsmodels(bound):
    expected = ttost_ind(DRUG_1, DRUG_2, -bound, bound, usevar="unequal")
    assert p_within(mean_of(DRUG_1) - mean_of(DRUG_2), bound) == pytest.approx(expected[0], rel=1e-9)


def test_a_difference_is_that_of_scipys_welch_test():
    expected = stats.ttest_ind(DRUG_1, DRUG_2, equal_var=False)
    assert p_differs(mean_of(DRUG_1) - mean_of(DRUG_2)) == pytest.approx(expected.pvalue, rel=1e-9)
    assert p_unequal([mean_of(DRUG_1), mean_of(DRUG_2)]) == pytest.approx(expected.pvalue, rel=1e-9)


def test_several_means_differ_as_by_statsmodels_welch_analysis_of_variance():
    from statsmodels.stats.oneway import anova_oneway

    rng = np.random.default_rng(4)
    groups = [rng.normal(0, 1, 8), rng.normal(0.5, 2, 12), rng.normal(0, 0.5, 20), rng.normal(0, 1, 5)]
    expected = anova_oneway(groups, use_var="unequal", welch_correction=True)
    assert p_unequal([mean_of(group) for group in groups]) == pytest.approx(expected.pvalue, rel=1e-9)


@settings(max_examples=30)
@given(st.lists(st.floats(0, 1), min_size=1, max_size=30))
def test_the_correction_for_many_is_that_of_statsmodels(p_values):
    assert holm(p_values) == pytest.approx(multipletests(p_values, method="holm")[1])


def test_nothing_compared_needs_no_correction():
    assert holm([]) == ()


def test_the_interval_of_a_ratio_holds_the_truth_as_often_as_it_says():
    rng = np.random.default_rng(8)
    before, after, n = 2.0, 0.5, 12
    held = 0
    for _ in range(2000):
        ends = ratio_interval(mean_of(rng.normal(after, 1, n)), mean_of(rng.normal(before, 1, n)))
        held += ends is None or ends[0] <= after / before <= ends[1]
    assert held / 2000 == pytest.approx(0.95, abs=0.015)


@given(st.floats(0.1, 100), st.floats(5, 50), st.floats(5, 50), st.floats(3, 200))
def test_a_ratio_turned_round_has_the_interval_turned_round(value, sharp_a, sharp_b, dof):
    a, b = Mean(value, value / sharp_a, dof), Mean(1.0, 1 / sharp_b, dof)
    ends, turned = ratio_interval(a, b), ratio_interval(b, a)
    if ends is None or turned is None or ends[0] == 0:
        return
    assert (1 / turned[1], 1 / turned[0]) == pytest.approx(ends, rel=1e-6)


def test_nothing_can_be_said_of_a_ratio_to_what_may_be_nothing():
    assert ratio_interval(Mean(1, 0.1, 20), Mean(0.1, 0.2, 20)) is None


def test_what_may_be_nothing_has_a_ratio_that_begins_at_nothing():
    low, high = ratio_interval(Mean(-0.1, 0.2, 20), Mean(10, 0.2, 20))
    assert low == 0
    assert 0.02 < high < 0.05
