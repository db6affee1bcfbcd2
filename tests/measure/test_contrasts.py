import numpy as np
import pytest

from telltick.measure.contrasts import contrasts
from telltick.measure.rows import PollRows, measure_rows
from telltick.measure.tones import band_bins
from telltick.model.readings import Band
from tests.scenes import make_scene


def rows_of(seed: int = 1, **scene) -> PollRows:
    made = make_scene(seed, rate_hz=8000, **scene)
    return measure_rows(made.samples, 0, 8000, made.gate.shifted(made.latency_s))


def contrasts_of(rows: PollRows):
    return contrasts(rows, band_bins(rows, Band()))


def test_each_poll_is_held_against_two_stretches_on_each_side_where_they_fit():
    found = contrasts_of(rows_of(excess_db=6.0, poll_jitter_s=0.003))
    assert found.sides.shape == (len(found.by_turns), 4)
    assert np.isfinite(found.sides).mean() > 0.8
    assert np.nanmean(found.sides) == pytest.approx(6.0 / 4.343, abs=0.15)  # dB to natural logarithm


def test_in_noise_alone_one_difference_scatters_as_it_says():
    found = contrasts_of(rows_of(excess_db=None))
    assert np.nanstd(found.sides) == pytest.approx(found.spread, rel=0.1)
    assert np.nanstd(found.by_turns) == pytest.approx(found.spread, rel=0.15)


def test_a_pair_of_which_one_stretch_is_missing_is_left_out_whole():
    sides = np.isfinite(contrasts_of(rows_of(excess_db=6.0, rate=5.1)).sides)
    assert np.array_equal(sides[:, 0::2], sides[:, 1::2])
    assert 0 < sides[:, 2].sum() < sides[:, 0].sum()


def test_the_one_stretch_is_now_before_and_now_after_the_poll():
    found = contrasts_of(rows_of(excess_db=6.0))
    before = found.by_turns == found.sides[:, 0]
    after = found.by_turns == found.sides[:, 1]
    assert np.all(before ^ after)
    assert 0.45 < before.mean() < 0.55


def test_where_no_quiet_is_left_gaps_stand_in_and_there_are_no_sides():
    found = contrasts_of(rows_of(excess_db=6.0, rate=20.0, poll_jitter_s=0.001))
    assert not np.isfinite(found.sides).any()
    assert np.isfinite(found.by_turns).mean() > 0.9


def test_without_polls_there_is_nothing_to_hold_against_anything():
    rows = rows_of(excess_db=None)
    idle = contrasts_of(rows.pick(slice(0, 0)))
    assert idle.by_turns.shape == (0,)
    assert idle.sides.shape == (0, 4)
