"""I and N as powers, against scenes whose interference is known exactly."""

from dataclasses import replace

import numpy as np
import pytest

from telltick.measure.rows import measure_rows
from telltick.measure.setups import common_bins
from telltick.measure.sides import beside, in_db, measure_side
from tests.scenes import NOISE_DBFS, make_scene


def measured(seed, excess_db, *, background="clean", seconds=40.0):
    scene = make_scene(seed, excess_db=excess_db, seconds=seconds, rate_hz=12_000, background=background)
    rows = measure_rows(scene.samples, 0, scene.rate_hz, scene.gate.shifted(scene.latency_s))
    return scene, measure_side(rows, common_bins([rows]), aligned=True)


@pytest.mark.parametrize("background", ["clean", "static"])
@pytest.mark.parametrize("excess_db", [0.5, 3.0, 10.0])
def test_the_interference_is_measured_as_a_power_within_its_error(excess_db, background):
    away = []
    for seed in (1, 2, 3):
        scene, side = measured(seed, excess_db, background=background)
        true = scene.truth.i_over_n * 10 ** (NOISE_DBFS / 10)
        away.append((side.interference.value - true) / side.interference.error)
        assert side.interference.value == pytest.approx(true, rel=0.25 if excess_db < 1 else 0.08)
    assert np.sqrt(np.mean(np.square(away))) < 3


def test_the_noise_is_measured_alike_with_and_without_polls():
    scene, side = measured(4, 6.0)
    nobody = scene.gate.between(0.0, 0.0)
    silent = make_scene(5, excess_db=None, seconds=20.0, rate_hz=12_000)
    rows = measure_rows(silent.samples, 0, silent.rate_hz, nobody)
    off = measure_side(rows, common_bins([rows]), aligned=True)
    assert off.interference is None
    for noise in (side.noise, off.noise):
        level = in_db(noise)
        assert level.value == pytest.approx(scene.truth.noise_dbfs, abs=3 * level.error + 0.05)


def test_what_is_heard_beyond_doubt_is_told_from_what_is_not():
    assert measured(6, 3.0)[1].heard
    assert not measured(7, None)[1].heard


def test_without_a_latency_there_is_no_interference_to_speak_of():
    scene = make_scene(8, excess_db=6.0, seconds=10.0, rate_hz=12_000)
    rows = measure_rows(scene.samples, 0, scene.rate_hz, scene.gate)
    side = measure_side(rows, common_bins([rows]), aligned=False)
    assert side.interference is None
    assert side.excess_db is None
    assert side.noise is not None


def test_where_tones_were_filled_in_on_one_side_alone_the_levels_are_less_certain_and_the_ratio_is_not():
    side = measured(9, 6.0)[1]
    humming = replace(side, filled_in=0.08)
    wide = beside(humming, side)
    assert in_db(wide.noise).error > 0.2 > in_db(side.noise).error
    assert in_db(wide.interference).error > in_db(side.interference).error
    assert wide.excess_db == side.excess_db
    assert beside(humming, humming) == humming
