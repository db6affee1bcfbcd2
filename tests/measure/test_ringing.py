"""A filter's ringing beside strong bursts is kept out of the floor, and nothing else is."""

from __future__ import annotations

import numpy as np
import pytest

from telltick.measure.banded import sums_of
from telltick.measure.excess import measure_excess
from telltick.measure.ringing import quiet_sums, ringing_bins
from telltick.measure.rows import measure_rows
from telltick.measure.tones import band_bins
from telltick.model.readings import Band
from tests.scenes import HIGH_HZ, LOW_HZ, make_scene


def rows_of(seed, excess_db, background="clean", **scene_of):
    scene = make_scene(seed, excess_db=excess_db, background=background, jitter_s=0.002, **scene_of)
    rows = measure_rows(scene.samples, 0, scene.rate_hz, scene.gate.shifted(scene.latency_s))
    return scene, rows, band_bins(rows, Band())


def test_what_rings_lies_at_the_edges_of_the_filter_and_does_not_lift_the_floor():
    scene, rows, use = rows_of(1006, 30.0, noise_dbfs=-55.0)
    rings = ringing_bins(rows) & use
    assert rings.any()
    away_hz = np.minimum(np.abs(rows.freq_hz - LOW_HZ), np.abs(rows.freq_hz - HIGH_HZ))
    assert away_hz[rings].max() < 150.0
    lifted, freed = (sums.sum() for sums in (rows.quiet[:, use].sum(axis=1), quiet_sums(rows, use)))
    assert 10 * np.log10(lifted / freed) > 0.04
    assert measure_excess(rows, use).excess_db == pytest.approx(scene.excess_in(use), abs=0.04)


@pytest.mark.parametrize(("background", "rate"), [("clean", 5), ("clean", 10), ("static", 5), ("speech", 5)])
def test_without_interference_hardly_any_bin_is_taken_to_ring(background, rate):
    found, of = 0, 0
    for seed in range(6):
        _, rows, use = rows_of(seed, None, background, seconds=30.0, rate_hz=8000, rate=rate)
        found += int((ringing_bins(rows) & use).sum())
        of += int(use.sum())
    assert found <= 0.005 * of


def test_rows_of_a_band_are_freed_of_ringing_once():
    _, rows, use = rows_of(1006, 30.0, noise_dbfs=-55.0)
    banded, _ = sums_of(rows)
    assert not ringing_bins(banded).any()
    found, whole = measure_excess(banded, np.ones(1, dtype=bool)), measure_excess(rows, use)
    assert found.excess_db == pytest.approx(whole.excess_db, abs=1e-3)
