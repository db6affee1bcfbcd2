import numpy as np
import pytest

from telltick.measure.track import LatencyTrack


def track_of(ppm, seconds=600, every=10.0, noise_s=0.0003, seed=1):
    rng = np.random.default_rng(seed)
    track = LatencyTrack()
    for at_s in np.arange(30.0, seconds, every):
        track.add(at_s, 0.05 + 1e-6 * ppm * at_s + rng.normal(0, noise_s))
    return track


@pytest.mark.parametrize("ppm", [-100.0, 0.0, 40.0])
def test_a_steady_drift_is_followed_to_half_a_millisecond_and_a_minute_beyond(ppm):
    at_s = np.array([10.0, 300.0, 590.0, 650.0])
    expected = 0.05 + 1e-6 * ppm * at_s
    assert track_of(ppm).shift_s(at_s) == pytest.approx(expected, abs=0.0008)
    assert track_of(ppm).drift_ppm() == pytest.approx(ppm, abs=5)


def test_a_drift_that_bends_with_temperature_is_followed_too():
    track = LatencyTrack()
    wander = lambda s: 0.05 + 0.01 * np.sin(2 * np.pi * s / 3600)  # noqa: E731
    for at_s in np.arange(0.0, 3600.0, 20.0):
        track.add(at_s, wander(at_s))
    at_s = np.linspace(0, 3600, 200)
    assert np.abs(track.shift_s(at_s) - wander(at_s)).max() < 0.0005


def test_estimates_of_the_same_audio_replace_each_other():
    track = LatencyTrack()
    for at_s in np.arange(1.0, 15.0):
        track.add(at_s, 0.04)
    assert len(track) == 2
    assert len(track_of(0.0)) <= 31


def test_estimates_may_come_from_the_end_backwards():
    track = LatencyTrack()
    for at_s in np.arange(600.0, 0.0, -30.0):
        track.add(at_s, 0.05 + 1e-4 * at_s)
    assert track.shift_s(np.array([15.0, 445.0])) == pytest.approx([0.0515, 0.0945], abs=1e-6)


def test_without_estimates_the_latency_is_zero_and_no_drift_is_told():
    assert LatencyTrack().shift_s(np.array([1.0, 2.0])).tolist() == [0.0, 0.0]
    assert LatencyTrack().drift_ppm() is None


def test_each_estimate_counts_from_the_moment_it_is_known():
    track = LatencyTrack()
    for at_s, latency_s in ((0.0, 0.05), (60.0, 0.053), (120.0, 0.056)):
        track.add(at_s, latency_s)
        assert track.shift_s(np.array([at_s])) == pytest.approx(latency_s)
    assert track.shift_s(np.array([180.0])) == pytest.approx(0.059)
    track.clear()
    assert track.shift_s(np.array([180.0])).tolist() == [0.0]
    track.add(0.0, 0.01)
    assert track.shift_s(np.array([180.0])) == pytest.approx(0.01)
