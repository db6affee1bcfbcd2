"""Which evidence the verdict rests on: the coin trial, the reading, the step around a sliding window."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telltick.measure.reading import STEADY
from telltick.measure.trial import CoinBet
from telltick.measure.verdict import NOT_BY_THE_COIN, as_control, judged_by, trial_between, verdict_with_trial
from telltick.model.readings import Estimate, Reading, TrialReading, Verdict

TIED = Reading(300, 60.0, -40.0, -46.0, Estimate(0.97, 0.9, 1.05), -6.0, Verdict.TIED, 1e-9, -5.0)
NO_TIE = replace(TIED, interference_dbfs=None, verdict=Verdict.NO_TIE, p_value=0.2)
TOO_FEW = Reading(3, 0.6)


def trial(log10_e: float, cycles: int = 80, difference_db: Estimate | None = None) -> TrialReading:
    path = np.linspace(0, log10_e, cycles)
    path_ns = 1e9 * np.arange(1.0, cycles + 1)
    return TrialReading(
        False, cycles, 0, 5, 0.04, 1, log10_e, max(log10_e, 0.0), difference_db, 0.04, path, path_ns
    )


def test_a_trial_that_proves_the_tie_makes_the_verdict():
    found = verdict_with_trial(NO_TIE, trial(6.0))
    assert found.verdict is Verdict.TIED
    assert found.p_value == pytest.approx(2e-6)
    assert found.interference_dbfs == pytest.approx(-46.0)


def test_a_trial_that_proves_nothing_yet_leaves_a_proven_reading_proven_at_half_the_stake():
    found = verdict_with_trial(TIED, trial(0.3))
    assert found.verdict is Verdict.TIED
    assert found.p_value == pytest.approx(2e-9)
    barely = replace(TIED, p_value=0.008)
    assert verdict_with_trial(barely, trial(0.3)).verdict is Verdict.NO_TIE


def test_what_keeps_step_with_the_polls_but_not_with_the_coin_is_no_tie():
    found = verdict_with_trial(TIED, trial(0.1, difference_db=Estimate(0.1, -0.2, 0.4)))
    assert found.verdict is Verdict.NO_TIE
    assert found.interference_dbfs is None
    assert NOT_BY_THE_COIN in found.warnings


def test_a_trial_that_proves_the_tie_takes_the_doubt_about_a_steady_rhythm_away():
    doubted = replace(TIED, warnings=(STEADY, "Something else."))
    assert verdict_with_trial(doubted, trial(6.0)).warnings == ("Something else.",)
    assert verdict_with_trial(doubted, trial(0.3)).warnings == (STEADY, "Something else.")


@pytest.mark.parametrize("one", [None, trial(9.0, cycles=9)])
def test_without_a_trial_or_with_too_few_cycles_the_reading_stands_as_it_is(one):
    assert verdict_with_trial(TIED, one) is TIED
    assert verdict_with_trial(NO_TIE, one) is NO_TIE


def test_too_few_polls_stay_too_few():
    assert verdict_with_trial(TOO_FEW, trial(9.0)) is TOO_FEW


def test_neither_alone_is_taken_at_its_word_where_both_fall_short_of_half_the_level():
    assert verdict_with_trial(NO_TIE, trial(2.1)).verdict is Verdict.NO_TIE
    assert verdict_with_trial(NO_TIE, trial(2.4)).verdict is Verdict.TIED


def test_a_sliding_window_has_its_own_numbers_and_the_verdict_of_the_step_around_it():
    lucky = replace(TIED, polls=40, p_value=0.004)
    found = judged_by(lucky, NO_TIE)
    assert (found.verdict, found.p_value, found.interference_dbfs) == (Verdict.NO_TIE, 0.2, None)
    assert (found.polls, found.excess_db, found.noise_dbfs) == (40, lucky.excess_db, lucky.noise_dbfs)
    assert judged_by(NO_TIE, TIED).interference_dbfs == pytest.approx(-46.0)


def test_a_window_with_too_few_polls_says_so_whatever_the_step_says():
    assert judged_by(TOO_FEW, TIED) is TOO_FEW


def test_a_window_looked_at_over_and_over_is_fooled_no_more_often_than_its_step():
    rng = np.random.default_rng(3)
    fooled_step = fooled_window = 0
    from telltick.measure.evidence import tie_log_e

    for _ in range(60):
        differences = rng.standard_t(3, 600)
        step = float(tie_log_e(differences).max()) >= np.log(100)
        looks = [tie_log_e(differences[at : at + 75]).max() for at in range(0, 525, 5)]
        fooled_step += step
        fooled_window += max(looks) >= np.log(100)
    assert fooled_step <= 2  # a chance of at most 1 % each: three of sixty come in two suites of a hundred
    assert fooled_window > fooled_step  # which is why the window's own evidence is not shown


def test_the_cycles_of_a_step_are_odds_by_themselves():
    found = trial_between(trial(8.0), 20_000_000_000, 60_000_000_000)
    assert found.cycles == 40
    assert found.path_ns[0] == 21e9
    assert found.path_ns[-1] == 60e9
    assert found.log10_e == pytest.approx(8.0 * 40 / 79)
    assert found.difference_db is None


def test_a_step_without_cycles_has_no_trial_and_one_with_all_of_them_the_whole():
    whole = trial(5.0)
    assert trial_between(whole, 0, 10**12) is whole
    assert trial_between(whole, 100 * 10**9, 10**12) is None
    assert trial_between(None, 0, 10**12) is None


def test_over_fair_draws_the_odds_of_a_later_stretch_have_mean_one():
    levels = np.random.default_rng(4).standard_normal((7, 2))
    draws = np.array(list(np.ndindex(*(2,) * 7)))
    paths = np.array([CoinBet().add(levels, drawn) for drawn in draws])
    assert np.mean(np.exp(paths[:, -1] - paths[:, 3])) == pytest.approx(1.0)


def test_a_stretch_with_polling_off_is_a_control_and_asks_for_no_polls():
    off = Reading(0, 6.0, -40.0, warnings=("Not enough polls for a reading: 12 more are needed.",))
    control = as_control(off, {"polling": "off"})
    assert (control.verdict, control.warnings, control.noise_dbfs) == (Verdict.CONTROL, (), -40.0)
    assert judged_by(off, control).verdict is Verdict.CONTROL
    # Polling that should be there and is not, or polls heard all the same, are no control.
    assert as_control(off, {"polling": "on"}) is off
    assert as_control(TIED, {"polling": "off"}) is TIED
