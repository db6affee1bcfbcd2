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


@pytest.mark.parametrize("period_ms", [100, 200, 500, 1000])
def test_what_is_left_of_hum_keeps_time_with_no_polls(period_ms):
    """Tones 20 dB over the noise: cells folded by the period differ by no more than noise alone does."""
    rng, rate_hz = np.random.default_rng(7), 8000
    t = np.arange(120 * rate_hz) / rate_hz
    hum = sum(np.sin(2 * np.pi * tone_hz * t) for tone_hz in (50.01 * 7, 1000.4, 2499.7))
    heard = rng.standard_normal(len(t)) + np.sqrt(2 * 100 * 0.6) * hum
    cells = power_cells(np.rint(100 * heard).astype(np.int16), 0, rate_hz).power
    periods = len(cells) // period_ms
    by_place = cells[: periods * period_ms].reshape(periods, -1, 20).mean(axis=(0, 2))
    chance = 1 / np.sqrt(2400 * 0.020 * periods)
    assert by_place.std() / by_place.mean() < 2 * chance


def test_a_running_median_mirrors_its_edges():
    values = np.random.default_rng(5).normal(size=57)
    for reach in (1, 10, 56, 80):
        near = min(reach, 56)
        padded = np.pad(values, near, mode="reflect")
        wanted = [np.median(padded[at : at + 2 * near + 1]) for at in range(57)]
        np.testing.assert_array_equal(running_median(values, reach), wanted)
