"""The coin trial's odds: fair whatever the noise, strong where the drawn slots are louder."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from telltick.measure.cells import Cells
from telltick.measure.trial import (
    UNCOUNTED,
    CoinBet,
    Draws,
    LatencyMixture,
    RunningMedian,
    choice_log_e,
    cycles_that_count,
    lags_to_try,
    neighbour_scores,
    poll_shape,
    rank_scores,
    shape_fill,
    slot_contrasts,
    slot_levels,
    trial_difference,
)
from telltick.model.traffic import Gate
from tests.benchmarks.false_alarms import ideal_db, slots_with
from tests.scenes import poll_gate

# Differences of Student's sleep data (Student 1908, Biometrika 6, 1-25).
SLEEP = np.array([1.2, 2.4, 1.3, 1.3, 0.0, 1.0, 1.8, 0.8, 4.6, 1.4])


def wild_levels(seed: int, cycles: int, slots: int) -> np.ndarray:
    """Levels with trends, ties and crashes: nothing that a fair draw should mind."""
    rng = np.random.default_rng(seed)
    levels = rng.standard_cauchy((cycles, slots)) + np.linspace(-2, 2, slots)
    levels[1] = 0.5
    return levels


@pytest.mark.parametrize(
    ("bet", "expected"),
    [
        (0.25, 17.6452373954394),
        (0.5, 76.5872084980826),
        (1.0, 271.261504290658),
        (2.0, 471.782182572304),
    ],
)
def test_with_two_slots_the_bet_is_the_log_cosh_e_process(bet, expected):
    # exp(sum(bet d - log cosh(bet d))), worked by hand formula with an independent package
    log_e = choice_log_e(np.stack([SLEEP, -SLEEP], axis=1), np.zeros(10, dtype=int), np.array([bet]))
    assert np.exp(log_e.sum()) == pytest.approx(expected, rel=1e-12)


def test_over_all_sign_flips_the_log_cosh_e_process_has_mean_one():
    scores = np.stack([SLEEP, -SLEEP], axis=1)
    each = [
        np.exp(choice_log_e(scores, np.array(flips), np.array([0.5])).sum())
        for flips in product((0, 1), repeat=10)
    ]
    assert len(each) == 1024
    assert np.mean(each) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.parametrize(("cycles", "slots"), [(6, 2), (5, 3), (4, 5)])
def test_over_all_draws_the_odds_have_mean_one_after_every_cycle_whatever_the_noise(cycles, slots):
    levels = wild_levels(slots, cycles, slots)
    odds = [np.exp(CoinBet().add(levels, np.array(d))) for d in product(range(slots), repeat=cycles)]
    np.testing.assert_allclose(np.mean(odds, axis=0), 1.0, rtol=1e-10)


def test_odds_shared_out_over_latencies_have_mean_one_too():
    levels = np.stack([wild_levels(seed, 4, 3) for seed in range(5)])
    shares = np.array([0.5, 0.2, 0.1, 0.1, 0.1])
    odds = [
        np.exp(LatencyMixture(np.arange(5.0), shares).add(levels, np.array(drawn)))
        for drawn in product(range(3), repeat=4)
    ]
    np.testing.assert_allclose(np.mean(odds, axis=0), 1.0, rtol=1e-10)


def stalled(drawn: tuple[int, ...], slots: int) -> np.ndarray:
    """Which cycles get a poll when the poller stalls from the middle of cycle 1 to the middle of cycle 4."""
    due = np.arange(len(drawn)) * slots + np.array(drawn)
    return (due < slots + 1) | (due >= 4 * slots + 2)


def test_a_stall_that_swallows_polls_by_where_they_were_to_go_keeps_the_odds_fair():
    levels = wild_levels(3, 6, 3)
    by_rule, naive = [], []
    for drawn in product(range(3), repeat=6):
        has_poll = stalled(drawn, 3)
        for odds, counted in ((by_rule, cycles_that_count(has_poll)), (naive, has_poll)):
            log_e = CoinBet().add(levels, np.where(counted, drawn, UNCOUNTED))
            odds.append(np.exp(log_e[-1]))
    assert np.mean(by_rule) == pytest.approx(1.0, rel=1e-10)
    assert abs(np.mean(naive) - 1) > 0.01  # had cycles without polls been dropped


def test_slots_out_of_the_draw_keep_the_odds_fair():
    scores = np.array([[0.3, np.nan, -1.0, 2.0], [np.nan, np.nan, np.nan, 1.0], [np.nan] * 4])
    for cycle in scores:
        odds = [
            np.exp(choice_log_e(cycle[None], np.array([slot]), np.array([0.3, 1.2]))) for slot in range(4)
        ]
        np.testing.assert_allclose(np.mean(odds, axis=0), 1.0, rtol=1e-12)


def test_of_a_long_spell_without_polls_only_the_first_and_last_cycle_count():
    has_poll = np.array([1, 1, 0, 0, 0, 0, 1, 0, 1, 0], dtype=bool)
    assert np.flatnonzero(cycles_that_count(has_poll)).tolist() == [0, 1, 2, 5, 6, 7, 8, 9]


def noise_levels(seed: int, cycles: int, slots: int, ratio: float, static: bool = False):
    """Log powers of noise slots with 72 degrees of freedom a pair, the drawn one louder by 1 + `ratio`."""
    rng = np.random.default_rng(seed)
    power = rng.gamma(72.0, 1 / 72.0, (cycles, slots))
    drawn = rng.integers(0, slots, cycles)
    power[np.arange(cycles), drawn] *= 1 + ratio
    if static:
        power *= 10 ** (np.where(rng.random(power.shape) < 0.07, rng.uniform(5, 32, power.shape), 0) / 10)
    return np.log(power), drawn


def cycles_needed(ratio_db: float, slots: int, runs: int = 25, **scene) -> float:
    """Median cycles until the odds reach 100 to 1."""
    out = []
    for seed in range(runs):
        log_e = CoinBet().add(*noise_levels(seed, 150, slots, 10 ** (ratio_db / 10), **scene))
        out.append(int(np.argmax(log_e >= np.log(100))) + 1 if log_e.max() >= np.log(100) else 10**9)
    return float(np.median(out))


@pytest.mark.parametrize(
    ("ratio_db", "slots", "most"), [(0, 16, 6), (-6, 16, 8), (-10, 16, 24), (0, 5, 7), (-10, 5, 32)]
)
def test_faint_interference_is_proved_within_few_cycles(ratio_db, slots, most):
    assert cycles_needed(ratio_db, slots) <= most


def test_static_crashes_hardly_delay_the_proof():
    assert cycles_needed(-10, 16, static=True) <= 30


def test_without_interference_the_odds_hardly_ever_reach_a_hundred_however_long_one_looks():
    highest = [
        CoinBet().add(*noise_levels(seed, 300, 5, 0.0, static=seed % 2 > 0)).max() for seed in range(300)
    ]
    # A false alarm has a chance of at most 1 %; eight or more of 300 would come once in a hundred suites.
    assert sum(log_e >= np.log(100) for log_e in highest) <= 7


def test_bets_made_piece_by_piece_give_the_same_digits():
    levels, drawn = noise_levels(1, 200, 5, 0.1)
    bet = CoinBet()
    pieces = [bet.add(levels[i : i + 7], drawn[i : i + 7]) for i in range(0, 200, 7)]
    np.testing.assert_array_equal(np.concatenate(pieces), CoinBet().add(levels, drawn))


def test_the_difference_in_level_is_right_and_its_interval_covers():
    inside = 0
    for seed in range(60):
        found = trial_difference(slot_contrasts(*noise_levels(seed, 100, 5, 1.0, static=True)))
        assert found is not None
        inside += found.low <= 10 * np.log10(2) <= found.high
    assert inside >= 52


def test_too_few_cycles_have_no_difference():
    assert trial_difference(slot_contrasts(*noise_levels(1, 9, 5, 1.0))) is None


def test_the_running_median_is_that_of_all_values_so_far():
    values = np.random.default_rng(2).normal(size=99)
    expected = [np.median(values[: n + 1]) for n in range(99)]
    np.testing.assert_allclose(RunningMedian().add(values), expected)


def test_ranks_follow_scipy():
    from scipy import stats

    levels = np.round(wild_levels(4, 6, 5), 1)
    ranks = stats.rankdata(levels, axis=1)  # ties share their mean rank
    np.testing.assert_allclose(rank_scores(levels), np.sqrt(3) * (2 * ranks - 6) / 5)


def test_neighbours_tell_who_stands_out():
    assert neighbour_scores(np.array([[1.0, 3.0, 2.0, 2.0]])).tolist() == [[-1.0, 1.0, -0.5, 0.0]]


def test_the_shape_of_a_poll_is_its_request_and_its_reply():
    gate = poll_gate(np.random.default_rng(1), 20.0, baud=9600, request=5, reply=23, turnaround_s=0.010)
    character_s = 10 / 9600
    np.testing.assert_allclose(
        poll_shape(gate),
        [[0, 5 * character_s], [5 * character_s + 0.010, 28 * character_s + 0.010]],
        atol=1e-9,
    )


def test_the_difference_is_that_while_bytes_flow_however_far_replies_wander():
    rng = np.random.default_rng(5)
    reply = 0.010 + rng.uniform(0, 0.010, 50)
    start = np.stack([np.zeros(50), reply], axis=1) + np.arange(50)[:, None]
    gate = Gate(
        start.ravel(),
        (start + np.array([0.005, 0.020])).ravel(),
        np.tile([False, True], 50),
        np.repeat(np.arange(50), 2),
    )
    shape = poll_shape(gate)
    fill = shape_fill(gate, shape)
    assert fill == pytest.approx(25 / 33, abs=0.03)
    diluted_db = np.full(20, 10 * np.log10(1 + 3 * fill))
    assert trial_difference(diluted_db, fill).value == pytest.approx(10 * np.log10(4))


def test_without_replies_the_shape_of_a_poll_is_its_request():
    gate = Gate(np.arange(5.0), np.arange(5.0) + 0.02, np.zeros(5, dtype=bool), np.arange(5))
    np.testing.assert_allclose(poll_shape(gate), [[0, 0.02]])


def test_levels_are_those_of_the_time_in_which_bytes_would_flow():
    power = np.ones(2000, dtype=np.float32)
    power[540:550] = 4.0  # slot 2 of the cycle that starts at 0.4 s, 40 ms later in the audio
    cells = Cells(1000, power, 3.0)
    draws = Draws(np.array([0.5, 1.4, 2.9]), np.array([0, 2, 0]), 5, 0.05)
    levels = slot_levels(cells, draws, np.array([[0.0, 0.010]]), 0.040)
    np.testing.assert_allclose(levels[1], np.log([1, 1, 4, 1, 1]), atol=1e-6)
    assert np.isnan(levels[[0, 2]]).all()  # before the first cell, and beyond the last


def test_latencies_are_tried_closely_enough_that_a_short_poll_falls_through_nowhere():
    lags = lags_to_try(np.array([[0.0, 0.012]]))
    assert lags[0] == -0.02
    assert lags[-1] == pytest.approx(0.5, abs=0.004)
    assert np.diff(lags).max() <= 0.0031


@pytest.mark.parametrize(
    ("slots", "static", "lost_db"),
    [(16, False, 1.1), (5, False, 1.5), (2, False, 2.7), (16, True, 1.3), (5, True, 1.8), (2, True, 3.1)],
)
def test_nine_of_ten_trials_of_a_hundred_polls_are_proven_near_what_an_ideal_detector_needs(
    slots, static, lost_db
):
    """The ideal detector's I/N by SciPy's gamma quantiles; 5 log10(K / (K - 1)) + 0.9 dB cannot be won."""
    i_over_n = 10 ** ((ideal_db(0.9, static=static) + lost_db) / 10)
    highest = slots_with(np.random.default_rng(7), 150, i_over_n, slots, static=static)
    assert np.mean(np.array(highest) >= np.log(100)) >= 0.9
