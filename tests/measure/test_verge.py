"""Short frames right beside the polls: where they lie, what they hear, and that they sharpen the floor."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal.windows import hann

from telltick.measure.banded import sums_of
from telltick.measure.rows import measure_rows
from telltick.measure.tones import band_bins, tonal_bins
from telltick.measure.verge import VERGE_GUARD_S, verge_scale
from telltick.model.readings import Band
from telltick.model.traffic import Gate
from tests.scenes import make_scene

RATE_HZ = 12_000
SHORT_S = 512 / 48_000
BURST_S = 0.032


def polls_every(gap_s: float, seconds: float, burst_s: float = BURST_S) -> Gate:
    """Polls of one burst each, a gap between each two."""
    start_s = np.arange(0.2, seconds - 0.2, burst_s + gap_s)
    count = len(start_s)
    return Gate(start_s, start_s + burst_s, np.ones(count, dtype=bool), np.arange(count))


def noise(seed: int, seconds: float) -> np.ndarray:
    """White noise."""
    rng = np.random.default_rng(seed)
    return np.rint(1000 * rng.standard_normal(int(seconds * RATE_HZ))).astype(np.int16)


@pytest.mark.parametrize(
    ("after_s", "heard"), [(-0.010, True), (0.004, False), (0.010, True), (0.017, False)]
)
def test_a_short_frame_hears_from_5_to_16_ms_beside_its_poll(after_s, heard):
    gate = polls_every(0.168, 3.0)
    samples = np.zeros(3 * RATE_HZ, dtype=np.int16)
    at_s = gate.poll_end_s[5] + after_s if after_s > 0 else gate.poll_start_s[5] + after_s
    samples[round(at_s * RATE_HZ)] = 20_000
    rows = measure_rows(samples, 0, RATE_HZ, gate)
    of_poll = int(np.flatnonzero(rows.poll == 5)[0])
    power = rows.verge.sum(axis=1)
    assert (power[of_poll] > 0) == heard
    assert not np.delete(power, of_poll).any()


def test_no_short_frame_comes_as_near_to_the_neighbouring_poll():
    room_s = 2 * VERGE_GUARD_S + SHORT_S
    for gap_s, frames in ((room_s - 0.001, 0), (room_s + 0.001, 2)):
        rows = measure_rows(noise(1, 5.0), 0, RATE_HZ, polls_every(gap_s, 5.0))
        assert np.all(rows.verge_frames[2:-2] == frames)


def test_rows_measured_in_pieces_have_the_same_digits():
    samples, gate = noise(2, 12.0), polls_every(0.068, 12.0)
    whole = measure_rows(samples, 0, RATE_HZ, gate)
    first = measure_rows(samples[: 6 * RATE_HZ], 0, RATE_HZ, gate)
    begin = int(first.resume_s * RATE_HZ)
    second = measure_rows(samples[begin:], begin, RATE_HZ, gate)
    assert np.array_equal(np.concatenate([first.verge, second.verge]), whole.verge)
    assert np.array_equal(np.concatenate([first.verge_frames, second.verge_frames]), whole.verge_frames)


def seen(density: np.ndarray, window: np.ndarray) -> np.ndarray:
    """Power in each long frame's bin of noise with this density (16 values a bin), by scipy's window."""
    response = np.abs(np.fft.fft(window, 16 * 256)) ** 2 / np.sum(window**2)
    return np.real(np.fft.ifft(np.fft.fft(density) * np.fft.fft(response)))[::16]


@pytest.mark.parametrize("slope_db", [-24.0, 0.0, 24.0])
@pytest.mark.parametrize("pass_hz", [(300.0, 2700.0), (0.0, 6000.0)])
def test_wider_bins_are_made_up_for_however_the_spectrum_slopes_and_ends(slope_db, pass_hz):
    """Against both windows' exact responses, by scipy.signal.windows.hann and the Fourier transform."""
    frequency_hz = np.abs(np.fft.fftfreq(16 * 256, 1 / RATE_HZ))
    density = 10 ** (slope_db / 10 * frequency_hz / 3000) * (
        (frequency_hz >= pass_hz[0]) & (frequency_hz <= pass_hz[1])
    )
    long, short = (seen(density, hann(length, sym=False)) for length in (256, 128))
    rows = measure_rows(noise(3, 2.0), 0, RATE_HZ, polls_every(0.068, 2.0))
    use = band_bins(rows, Band())
    bins = len(rows.freq_hz)
    scale = verge_scale(long[:bins], use)
    assert scale * short[:bins][use].sum() / long[:bins][use].sum() == pytest.approx(1.0, abs=0.002)


def test_short_frames_hear_the_noise_that_long_ones_hear():
    heard = []
    for seed in range(6):
        rows = measure_rows(noise(seed, 60.0), 0, RATE_HZ, polls_every(0.068, 60.0))
        use = band_bins(rows, Band())
        short = rows.verge[:, use].sum(dtype=np.float64) / rows.verge_frames.sum()
        heard.append(short * rows.quiet_frames.sum() / rows.quiet[:, use].sum(dtype=np.float64))
    assert np.mean(heard) == pytest.approx(1.0, abs=0.011)  # three times 0.009 / sqrt(6) by chance


def test_tones_in_the_band_or_right_beside_it_keep_the_verge_out():
    rows = measure_rows(noise(4, 20.0), 0, RATE_HZ, polls_every(0.068, 20.0))
    level, use = rows.quiet.sum(axis=0, dtype=np.float64), band_bins(rows, Band())
    assert verge_scale(level, use) == pytest.approx(1.0, abs=0.01)
    with_tone = use.copy()
    with_tone[20:23] = False
    assert verge_scale(level, with_tone) is None
    beside = level.copy()
    beside[int(np.flatnonzero(use)[0]) - 2] *= 1000
    assert verge_scale(beside, use) is None
    assert verge_scale(np.zeros_like(level), use) is None


def test_rows_of_a_band_with_tones_count_no_verge():
    clean, hum = (make_scene(5, background=one, seconds=20.0, rate=10.0) for one in ("clean", "hum"))
    for scene, counted in ((clean, True), (hum, False)):
        rows = measure_rows(scene.samples, 0, scene.rate_hz, scene.gate.shifted(scene.latency_s))
        assert tonal_bins(rows, Band()).any() != counted
        banded, _ = sums_of(rows)
        assert banded.verge.any() == counted
        assert banded.verge_frames.any() == counted


def test_they_sharpen_the_floor_between_close_polls_as_their_windows_say():
    """(sum W)^2 / sum W^2 (Welch 1967) of the windows: 42.2 ms of a gap of 68 ms become 49.4."""
    gate = polls_every(0.068, 6.0)
    long, both = [], []
    for seed in range(150):
        rows = measure_rows(noise(seed, 6.0), 0, RATE_HZ, gate)
        use = band_bins(rows, Band())
        for of, floors in ((rows, long), (rows.with_verge(1.0), both)):
            floors.append(of.quiet[:, use].sum(dtype=np.float64) / of.quiet_frames.sum())
    gained = np.var(np.log(long)) / np.var(np.log(both))
    assert gained == pytest.approx(49.4 / 42.2, abs=0.08)


def test_the_floor_of_rows_stays_when_no_short_frame_fits():
    rows = measure_rows(noise(6, 5.0), 0, RATE_HZ, polls_every(0.018, 5.0))
    assert not rows.verge_frames.any()
    assert np.array_equal(rows.with_verge(1.0).quiet, rows.quiet)
    assert np.array_equal(rows.with_verge(1.0).quiet_frames, rows.quiet_frames)
