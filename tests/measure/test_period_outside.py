"""The period search against published statistics, and against a recording that nobody here made."""

import os
import shutil
import subprocess

import numpy as np
import pytest

from telltick.measure.period import find_period, period_scores, rarity
from tests.scenes import band_noise

PHASES = np.array([0.1, 0.15, 0.2, 0.2, 0.25, 0.3, 0.7, 0.9])
RATE_HZ = 8000
HEARTPY_BPM = 62.376  # docstring of heartpy 1.2.7 `process`, of its packaged data2.csv


def buccheri(phases, harmonics):
    """Z^2_n of event phases (Buccheri et al. 1983, A&A 128, 245): 2 / N sum |sum exp(2 pi i k phase)|^2."""
    order = np.arange(1, harmonics + 1)
    lines = np.exp(2j * np.pi * np.outer(order, phases)).sum(axis=1)
    return 2 / len(phases) * float(np.sum(np.abs(lines) ** 2))


def test_the_score_is_the_chance_of_buccheri_s_statistic():
    # stingray's z_n_search statistic and chance of these phases.
    statistic = buccheri(PHASES, 2)
    assert statistic == pytest.approx(9.6455991278)
    assert 10 ** -rarity(np.array(statistic / 2), 2) == pytest.approx(0.04683997, rel=1e-6)


@pytest.mark.parametrize(
    ("harmonics", "level", "chance"),
    [(2, 13.276704136, 0.01), (1, 23.015819062, 1 - 0.99 ** (1 / 1000))],  # stingray's z2_n_detection_level
)
def test_the_score_at_published_detection_levels_is_their_chance(harmonics, level, chance):
    assert 10 ** -rarity(np.array(level / 2), harmonics) == pytest.approx(chance, rel=1e-6)


def test_a_rhythm_ranks_as_the_h_test_ranks_it():
    # de Jager and Buesching 2010, A&A 517, L9: H = max over m of Z^2_m - 4 m + 4, chance exp(-0.4 H). Ours
    # looks through a Hann window, which keeps two thirds of the power (noise bandwidth 1.5).
    rng = np.random.default_rng(3)
    at = np.arange(30_000) * 0.002
    loud = 1 + 0.25 * ((at % 0.5) < 0.05)
    beat = rng.exponential(1.0, len(at)) * loud
    beat -= beat.mean()
    lines = np.exp(-2j * np.pi * np.outer(np.arange(1, 21) / 0.5, at)) @ beat
    z2 = np.cumsum(2 * np.abs(lines) ** 2 / np.sum(beat**2))
    h = float(np.max(z2 - 4 * np.arange(1, 21) + 4))
    rates, scores = period_scores(beat, 0.002)
    near = np.abs(rates - 2.0) < 0.01
    assert scores[near].max() == scores.max()
    assert 0.5 < scores[near].max() / (0.4 * h / np.log(10)) < 1.2


@pytest.mark.network
def test_a_pulse_recorded_from_a_finger_has_the_rate_that_was_published(tmp_path):
    # A heart is no clock: the published figure is the mean over beats, the search finds the steadiest rhythm.
    uv = shutil.which("uv")
    if uv is None:
        pytest.skip("uv is not there to fetch heartpy")
    fetch = [uv, "pip", "install", "--quiet", "--no-deps", "--target", str(tmp_path), "heartpy==1.2.7"]
    if subprocess.run(fetch, check=False, env=os.environ, capture_output=True).returncode:
        pytest.skip("heartpy cannot be fetched")
    at_ms, pulse = np.loadtxt(tmp_path / "heartpy" / "data" / "data2.csv", delimiter=",", skiprows=1).T
    count = int((at_ms[-1] - at_ms[0]) / 1000 * RATE_HZ)
    level = np.interp(np.arange(count) / RATE_HZ, (at_ms - at_ms[0]) / 1000, pulse - pulse.min())
    audio = band_noise(np.random.default_rng(1), count, RATE_HZ) * 2000 * (level / level.max()) ** 2
    period = find_period(np.rint(audio).astype(np.int16), 0, RATE_HZ)
    assert 60 / period.seconds.value == pytest.approx(HEARTPY_BPM, rel=0.02)
