"""Whether the receiver's gain gives way to the bursts, told from the quiet between polls."""

from __future__ import annotations

import numpy as np
import pytest

from telltick.measure.gain import LEVEL, GainDrop, gain_drop, joined_drops
from telltick.measure.rows import measure_rows
from telltick.measure.tones import band_bins, tonal_bins
from telltick.model.readings import Band
from tests.scenes import make_scene

RATE_HZ = 8000


def drop_of(scene, samples=None):
    samples = scene.samples if samples is None else samples
    rows = measure_rows(samples, 0, RATE_HZ, scene.gate.shifted(scene.latency_s))
    return gain_drop(rows, band_bins(rows, Band()) & ~tonal_bins(rows, Band()))


def scene_of(seed, excess_db, background, **more):
    return make_scene(
        seed, excess_db=excess_db, background=background, rate_hz=RATE_HZ, jitter_s=0.002, **more
    )


@pytest.mark.parametrize("background", ["agc", "agc+hum", "agc+static"])
def test_a_gain_that_gives_way_to_bursts_of_three_decibels_is_told_within_a_minute(background):
    assert all(drop_of(scene_of(seed, 3.0, background)).reacts for seed in range(3))


def test_it_is_told_between_words_as_well():
    assert drop_of(scene_of(1, 10.0, "agc+speech")).reacts


@pytest.mark.parametrize("background", ["clean", "hum", "static", "speech", "fading", "speech+static"])
@pytest.mark.parametrize("excess_db", [None, 10.0])
def test_a_gain_that_stays_as_it_is_is_not_warned_of(background, excess_db):
    assert not any(drop_of(scene_of(seed, excess_db, background)).reacts for seed in range(2))


def test_the_share_of_false_warnings_is_what_it_says():
    """Of 60 stretches of clean noise at a level of 1 %, more than four come once in a thousand sets."""
    scene = scene_of(3, None, "clean", seconds=1200)
    rows = measure_rows(scene.samples, 0, RATE_HZ, scene.gate.shifted(scene.latency_s))
    use = band_bins(rows, Band())
    found = [gain_drop(rows.between(at, at + 20), use) for at in range(0, 1200, 20)]
    assert sum(one.reacts for one in found) <= 3
    scores = np.array([one.drop / one.error for one in found])
    assert 0.8 < scores.std() < 1.3
    assert pytest.approx(0.005) == LEVEL


@pytest.mark.parametrize("release_s", [0.1, 0.2, 1.0])
def test_the_drop_is_that_of_a_known_gain(release_s):
    """Noise times a gain that falls by 20 % at each poll's end and comes back exponentially."""
    scene = scene_of(4, None, "clean", seconds=120)
    at_s = np.arange(len(scene.samples)) / RATE_HZ
    ends = scene.gate.shifted(scene.latency_s).poll_end_s
    since_s = at_s - ends[np.maximum(np.searchsorted(ends, at_s, side="right") - 1, 0)]
    gain = 1 - 0.2 * np.exp(-np.maximum(since_s, 0) / release_s)
    found = drop_of(scene, np.rint(scene.samples * gain).astype(np.int16))
    first_s, last_s = 0.033, 0.138  # middles of the first and last quiet slot, after the bytes
    true = 2 * np.log((1 - 0.2 * np.exp(-last_s / release_s)) / (1 - 0.2 * np.exp(-first_s / release_s)))
    assert found.drop == pytest.approx(true, abs=3 * found.error)
    assert found.error < 0.01
    assert found.reacts


def test_a_drop_too_small_to_matter_is_not_warned_of_however_sure_it_is():
    assert not GainDrop(0.01, 1e-5, 100).reacts
    assert GainDrop(0.02, 1e-5, 100).reacts


def test_stretches_are_joined_by_their_shares_and_those_that_tell_nothing_left_out():
    parts = [GainDrop(0.1, 0.02, 10), GainDrop(), GainDrop(0.3, 0.01, 20)]
    found = joined_drops(parts, np.array([0.25, 0.5, 0.25]))
    assert (found.drop, found.dof) == (pytest.approx(0.2), 30)
    assert found.error == pytest.approx(np.hypot(0.01, 0.005))
    assert joined_drops([GainDrop()], np.ones(1)).error == np.inf


def test_polls_too_close_for_quiet_between_them_tell_nothing():
    assert not np.isfinite(drop_of(scene_of(5, 10.0, "agc", rate=15.0, seconds=20)).error)
