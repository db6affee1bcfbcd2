"""Power cells: their level at every sample rate, however their blocks are transformed."""

from __future__ import annotations

import numpy as np
import pytest

from telltick.measure.cells import power_cells, running_median
from telltick.model.readings import Band
from tests.scenes import make_scene


@pytest.mark.parametrize("rate_hz", [8000, 11_025, 12_000, 22_050, 44_100, 48_000, 96_000])
def test_cells_hold_the_power_of_the_band_at_every_rate(rate_hz):
    scene = make_scene(3, excess_db=None, seconds=12.0, rate_hz=rate_hz)
    cells = power_cells(scene.samples, 0, rate_hz)
    first = round(cells.first * rate_hz / 1000)
    heard = scene.samples[first : first + round(len(cells.power) * rate_hz / 1000)] / 32768.0
    lines = np.abs(np.fft.rfft(heard)) ** 2
    freq_hz, band = np.fft.rfftfreq(len(heard), 1 / rate_hz), Band()
    inside = (freq_hz >= band.low_hz) & (freq_hz <= band.high_hz)
    whole = 4 * lines[inside].sum() / len(heard) ** 2  # re a full-scale sine, whose power is a half
    assert cells.power.mean(dtype=np.float64) == pytest.approx(whole, rel=0.02)


def test_a_running_median_mirrors_its_edges():
    values = np.random.default_rng(5).normal(size=57)
    for reach in (1, 10, 56, 80):
        near = min(reach, 56)
        padded = np.pad(values, near, mode="reflect")
        wanted = [np.median(padded[at : at + 2 * near + 1]) for at in range(57)]
        np.testing.assert_array_equal(running_median(values, reach), wanted)
