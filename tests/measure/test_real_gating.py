"""Gating held against a recording that nobody here made: a grasshopper's auditory receptor (package nitime).

Each spike answers to a loud moment of the sound; the mean envelope around the spikes peaks 6.05 ms before
them (as nitime's spike-triggered average of the same data shows). Spikes are to the envelope what polls are
to the receiver's audio, so the latency found must be -6.05 ms.
"""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from telltick.measure.cells import power_cells
from telltick.measure.latency import find_latency
from telltick.model.traffic import Gate
from tests.scenes import band_noise

OUTSIDE = Path(__file__).parent / "outside"
PEAK_S = -0.00605
RESOLUTION_S = 0.0007  # cells of 1 ms, a parabola through the top


def spikes():
    at_s = np.loadtxt(OUTSIDE / "grasshopper_spikes_us.txt") * 1e-6
    half_s = 0.0005
    return Gate(at_s - half_s, at_s + half_s, np.zeros(len(at_s), bool), np.arange(len(at_s)))


def envelope():
    return soundfile.read(OUTSIDE / "grasshopper_envelope.flac", dtype="int16")


def test_the_envelope_around_the_spikes_peaks_where_it_was_published():
    amplitude, rate_hz = envelope()
    per_ms = rate_hz // 1000
    power = (amplitude.astype(np.float64) ** 2).reshape(-1, per_ms).mean(axis=1)
    latency = find_latency(power.astype(np.float32), 0, spikes())
    assert latency.seconds.value == pytest.approx(PEAK_S, abs=RESOLUTION_S)
    assert latency.seconds.low < PEAK_S < latency.seconds.high


def test_the_latency_is_found_in_noise_that_carries_the_envelope():
    amplitude, rate_hz = envelope()
    carrier = band_noise(np.random.default_rng(1), len(amplitude), rate_hz)
    audio = np.rint(3 * amplitude * carrier).astype(np.int16)
    cells = power_cells(audio, 0, rate_hz)
    latency = find_latency(cells.power, cells.first, spikes())
    assert latency.seconds.value == pytest.approx(PEAK_S, abs=2 * RESOLUTION_S)
