import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from telltick.engine.strip import column_power, covered_share
from telltick.measure.frames import FULL_SCALE, FrameSpec
from telltick.model.readings import Band

RATE_HZ = 48_000


@given(st.lists(st.tuples(st.floats(0.01, 3), st.floats(0.01, 3)), max_size=12), st.integers(1, 40))
@settings(max_examples=60, deadline=None)
def test_the_covered_shares_add_up_to_the_time_covered(lengths, count):
    start, end, at = [], [], -2.0
    for silence, length in lengths:
        start.append(at + silence)
        end.append(at := at + silence + length)
    share = covered_share(np.array(start), np.array(end), count)
    inside = np.clip(end, 0, count) - np.clip(start, 0, count)
    assert share.sum() == pytest.approx(inside.sum())
    assert np.all((share >= 0) & (share <= 1))


def test_a_burst_of_a_column_and_a_half_fills_one_and_half_of_the_next():
    assert covered_share(np.array([2.0]), np.array([3.5]), 5).tolist() == [0, 0, 1, 0.5, 0]
    assert covered_share(np.array([1.25]), np.array([1.5]), 3).tolist() == [0, 0.25, 0]


@pytest.mark.parametrize("cell_ms", [5, 10, 20, 50, 200])
def test_a_full_scale_sine_reads_0_dbfs_in_columns_of_any_length(cell_ms):
    # AES17: 0 dBFS is the r.m.s. of a full-scale sine.
    cell = RATE_HZ * cell_ms // 1000
    samples = (FULL_SCALE - 1) * np.sin(2 * np.pi * 1500 / RATE_HZ * np.arange(20 * cell))
    spec = FrameSpec.for_rate(RATE_HZ) if cell > 1280 else FrameSpec(RATE_HZ, cell // 8, cell // 2)
    power = column_power(samples.astype(np.int16), np.arange(21) * cell, spec, Band())
    assert 10 * np.log10(power) == pytest.approx(np.zeros(20), abs=0.4)


def test_columns_have_the_same_levels_however_they_are_cut_into_calls():
    samples = np.random.default_rng(1).normal(0, 1000, 24_000).astype(np.int16)
    spec, edges = FrameSpec.for_rate(RATE_HZ), np.arange(11) * 2400
    together = column_power(samples, edges, spec, Band())
    apart = [
        column_power(samples[a : a + 2400], np.array([a, a + 2400]), spec, Band())[0] for a in edges[:-1]
    ]
    assert together == pytest.approx(apart, rel=1e-6)


def test_a_click_is_seen_in_its_own_column_alone():
    samples = np.zeros(24_000, np.int16)
    samples[12_000 + 1200] = 20_000  # the middle of column 5
    power = column_power(samples, np.arange(11) * 2400, FrameSpec.for_rate(RATE_HZ), Band())
    assert np.flatnonzero(power > 1e-12).tolist() == [5]
