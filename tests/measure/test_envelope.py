from itertools import pairwise

import numpy as np
import pytest

from telltick.measure.envelope import column_power
from telltick.measure.frames import FULL_SCALE, FrameSpec, power_frames
from telltick.model.readings import Band

RATE_HZ = 48_000
SPEC = FrameSpec.for_rate(RATE_HZ)


@pytest.mark.parametrize("cell_ms", [5, 10, 20, 50, 200])
def test_a_full_scale_sine_reads_0_dbfs_in_columns_of_any_length(cell_ms):
    # AES17: 0 dBFS is the r.m.s. of a full-scale sine.
    cell = RATE_HZ * cell_ms // 1000
    samples = (FULL_SCALE - 1) * np.sin(2 * np.pi * 1500 / RATE_HZ * np.arange(20 * cell))
    spec = SPEC if cell > 1280 else FrameSpec(RATE_HZ, cell // 8, cell // 2)
    power = column_power(samples.astype(np.int16), range(0, 21 * cell, cell), spec, Band())
    assert 10 * np.log10(power) == pytest.approx(np.zeros(20), abs=0.4)


def test_columns_have_the_same_levels_however_they_are_cut_into_calls():
    samples = np.random.default_rng(1).normal(0, 1000, 24_000).astype(np.int16)
    edges = range(0, 26_400, 2400)
    together = column_power(samples, edges, SPEC, Band())
    apart = [column_power(samples[a : a + 2400], [a, a + 2400], SPEC, Band())[0] for a in edges[:-1]]
    assert together == pytest.approx(apart, rel=1e-6)


def test_a_click_is_seen_in_its_own_column_alone():
    samples = np.zeros(24_000, np.int16)
    samples[12_000 + 1200] = 20_000  # the middle of column 5
    power = column_power(samples, range(0, 26_400, 2400), SPEC, Band())
    assert np.flatnonzero(power).tolist() == [5]


def test_a_column_is_the_mean_of_the_frames_that_lie_wholly_in_it():
    samples = np.random.default_rng(2).normal(0, 1000, 48_000).astype(np.int16)
    edges = [300, 1_100, 2_700, 2_704, 30_000, 47_000]
    frames = power_frames(samples, SPEC)  # frame k starts at sample 256 k
    inside = (SPEC.freq_hz >= 300) & (SPEC.freq_hz <= 2700)
    each = [
        np.mean([frames[k, inside].sum() for k in range(len(frames)) if a <= 256 * k <= b - 1024])
        if b - a > 1280
        else np.nan  # no frame fits
        for a, b in pairwise(edges)
    ]
    assert column_power(samples[300:], edges, SPEC, Band()) == pytest.approx(each, rel=1e-5, nan_ok=True)
