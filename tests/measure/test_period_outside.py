"""The period search against published statistics and recordings that nobody here made.

What has to be downloaded is asked for by ``pytest -m network``.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import resample_poly

from telltick.measure.period import find_period, period_scores, rarity
from telltick.measure.reading import take_reading
from telltick.measure.rows import measure_rows
from telltick.measure.waveform import waveform_tie
from telltick.model.readings import Estimate, Latency, Verdict
from tests.scenes import band_noise, make_scene

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


@pytest.fixture(scope="module")
def fetched(request, tmp_path_factory):
    """Fetches a package by the package registry's own client: its name to the folder it was unpacked in."""
    if "network" not in request.config.option.markexpr:
        pytest.skip("a download: asked for by pytest -m network")
    beside = Path(sys.executable).with_name("uv")
    uv = shutil.which("uv") or (str(beside) if beside.exists() else None)

    def fetch(package):
        folder = tmp_path_factory.mktemp("fetched")
        command = [uv, "pip", "install", "--quiet", "--no-deps", "--target", str(folder), package]
        if uv is None or subprocess.run(command, check=False, env=os.environ, capture_output=True).returncode:
            pytest.skip(f"{package} cannot be fetched")
        return folder

    return fetch


@pytest.mark.network
def test_a_pulse_recorded_from_a_finger_has_the_rate_that_was_published(fetched):
    # A heart is no clock: the published figure is the mean over beats, the search finds the steadiest rhythm.
    folder = fetched("heartpy==1.2.7")
    at_ms, pulse = np.loadtxt(folder / "heartpy" / "data" / "data2.csv", delimiter=",", skiprows=1).T
    count = int((at_ms[-1] - at_ms[0]) / 1000 * RATE_HZ)
    level = np.interp(np.arange(count) / RATE_HZ, (at_ms - at_ms[0]) / 1000, pulse - pulse.min())
    audio = band_noise(np.random.default_rng(1), count, RATE_HZ) * 2000 * (level / level.max()) ** 2
    period = find_period(np.rint(audio).astype(np.int16), 0, RATE_HZ)
    assert 60 / period.seconds.value == pytest.approx(HEARTPY_BPM, rel=0.02)


@pytest.fixture(scope="module")
def music(fetched):
    """A minute of the music that librosa 0.7.2 ships, both sides mixed, at 8 kHz."""
    (path,) = fetched("librosa==0.7.2").rglob("example_data/*.ogg")
    audio, rate_hz = soundfile.read(path, frames=60 * 44_100)
    assert rate_hz == 44_100
    return np.rint(resample_poly(audio.mean(axis=1), 80, 441) * 32767).clip(-32768, 32767).astype(np.int16)


@pytest.mark.network
def test_the_bar_of_recorded_music_has_four_of_the_beats_that_were_published(music):
    # librosa's tutorial: 129.20 beats per minute, told in steps of 512 samples at 22050 Hz, 20 of them here.
    beat_s = find_period(music, 0, RATE_HZ).seconds.value / 4
    assert beat_s * 22050 / 512 == pytest.approx(20, abs=0.5)


@pytest.mark.network
@pytest.mark.parametrize("seed", [0, 1])
def test_polls_in_recorded_music_are_tied_where_they_are_heard_and_only_there(music, seed):
    level_dbfs = float(10 * np.log10(2 * np.mean((music / 32768) ** 2)))
    scene = make_scene(seed, excess_db=3.0, rate_hz=RATE_HZ, seconds=60.0, noise_dbfs=level_dbfs, same=False)
    gate = scene.gate.shifted(scene.latency_s)
    known = Latency(Estimate(scene.latency_s, scene.latency_s, scene.latency_s), score=np.inf)
    for heard, verdict in ((0.0, Verdict.NO_TIE), (0.3, Verdict.TIED)):  # 10 dB below the music
        samples = np.rint(music + heard * scene.hash_samples).clip(-32768, 32767).astype(np.int16)
        reading = take_reading(measure_rows(samples, 0, RATE_HZ, gate), latency=known)
        assert reading.verdict is verdict
        waveform = waveform_tie(samples, 0, RATE_HZ, gate, baud=9600)
        assert (waveform.p_value < 0.01) is (verdict is Verdict.TIED)
