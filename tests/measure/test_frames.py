import numpy as np
import pytest
from scipy import signal

from telltick.measure.frames import FrameSpec, power_frames, to_db
from tests.measure.outside import rows_of

RATES = (8_000, 16_000, 44_100, 48_000, 96_000)


def sine(rate_hz, freq_hz, amplitude, seconds=1.0):
    t = np.arange(int(seconds * rate_hz)) / rate_hz
    return np.rint(amplitude * 32767 * np.sin(2 * np.pi * freq_hz * t)).astype(np.int16)


@pytest.mark.parametrize("rate_hz", RATES)
def test_a_full_scale_sine_reads_0_dbfs(rate_hz):
    # AES17-2020: 0 dBFS is the r.m.s. of a sine whose peaks reach full scale.
    frames = power_frames(sine(rate_hz, 1003.0, 1.0), FrameSpec.for_rate(rate_hz))
    assert to_db(frames.sum(axis=1)) == pytest.approx(0.0, abs=0.02)


def test_a_sine_at_a_tenth_of_full_scale_reads_minus_20_dbfs():
    frames = power_frames(sine(48_000, 1500.0, 0.1), FrameSpec.for_rate(48_000))
    assert to_db(frames.sum(axis=1)) == pytest.approx(-20.0, abs=0.02)


@pytest.mark.parametrize("rate_hz", RATES)
def test_frames_keep_their_length_in_time_at_every_rate(rate_hz):
    spec = FrameSpec.for_rate(rate_hz)
    assert spec.length_s == pytest.approx(1024 / 48_000, rel=0.01)
    assert spec.hop_s == pytest.approx(256 / 48_000, rel=0.01)


def test_the_mean_spectrum_of_noise_equals_welchs():
    # Reference: scipy.signal.welch, same Hann window and overlap, one-sided power spectral density.
    rng = np.random.default_rng(5)
    samples = np.rint(rng.normal(0, 2000, 30 * 48_000)).astype(np.int16)
    spec = FrameSpec.for_rate(48_000)
    ours = power_frames(samples, spec).mean(axis=0)
    freq, density = signal.welch(
        samples / 32768, 48_000, "hann", spec.length, spec.length - spec.hop, detrend=False
    )
    full_scale_sine = 0.5
    theirs = density * (48_000 / spec.length) / full_scale_sine
    assert np.allclose(freq[: spec.bins], spec.freq_hz)
    assert to_db(ours[1:] / theirs[1 : spec.bins]) == pytest.approx(0.0, abs=1e-3)


def test_the_window_has_the_published_merits():
    # outside/window_merits.csv (Harris 1978): noise bandwidth 1.5 bins, scalloping loss 1.424 dB.
    (hann,) = rows_of("window_merits.csv")
    merits = {name: float(value) for name, value in hann.items() if name != "window"}
    window = FrameSpec.for_rate(48_000).window
    n = np.arange(len(window))
    half_a_bin = np.abs(np.sum(window * np.exp(-1j * np.pi * n / len(window)))) / window.sum()
    quarter = len(window) // 4
    energy = np.sum(window**2)
    overlap_75 = np.sum(window[quarter:] * window[:-quarter]) / energy
    overlap_50 = np.sum(window[2 * quarter :] * window[: -2 * quarter]) / energy
    assert len(window) * energy / window.sum() ** 2 == pytest.approx(merits["enbw_bins"], abs=1e-4)
    assert window.mean() == pytest.approx(merits["coherent_gain"], abs=1e-6)
    assert -20 * np.log10(half_a_bin) == pytest.approx(merits["scalloping_db"], abs=0.001)
    assert 100 * overlap_75 == pytest.approx(merits["overlap_corr_75_pct"], abs=0.05)
    assert 100 * overlap_50 == pytest.approx(merits["overlap_corr_50_pct"], abs=0.05)


def test_a_frame_has_the_same_digits_wherever_the_audio_was_cut():
    rng = np.random.default_rng(2)
    samples = rng.integers(-3000, 3000, 48_000).astype(np.int16)
    spec = FrameSpec.for_rate(48_000)
    whole = power_frames(samples, spec)
    first = 7001
    part = power_frames(samples[first:], spec, first)
    assert np.array_equal(part, whole[spec.first_frame(first) :])


def test_audio_shorter_than_a_frame_has_none():
    spec = FrameSpec.for_rate(48_000)
    assert power_frames(np.zeros(spec.length - 1, dtype=np.int16), spec).shape == (0, spec.bins)
