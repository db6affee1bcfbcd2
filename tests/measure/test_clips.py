"""What can be listened to: quiet, polled, and the interference alone."""

import numpy as np
import pytest

from telltick.measure.clips import PEAK, interference_clip, polled_clip, quiet_clip
from telltick.measure.frames import FULL_SCALE
from telltick.model.traffic import Gate
from tests.scenes import make_scene

RATE_HZ = 8000


def heard(seed, seconds=20.0, **scene):
    """A scene and its gate in audio time."""
    made = make_scene(seed, seconds=seconds, rate_hz=RATE_HZ, **scene)
    return made, made.gate.shifted(made.latency_s)


def likeness(clip, wanted, reach=400):
    """Largest correlation of a clip with a longer waveform around some place."""
    a, b = clip - clip.mean(), wanted - wanted.mean()
    size = 1 << (len(b) - 1).bit_length()
    match = np.fft.irfft(np.fft.rfft(b, 2 * size) * np.conj(np.fft.rfft(a, 2 * size)))[: len(b) - len(a) + 1]
    total = np.cumsum(np.concatenate([[0.0], b**2]))
    energy = total[len(a) :] - total[: len(total) - len(a)]
    return float(np.max(np.abs(match) / np.sqrt(np.maximum(energy, 1e-9) * np.sum(a**2))))


def place_of(clip, samples):
    """Where a clip was cut from; its ends are faded."""
    part = clip[1000:1020]
    near = np.flatnonzero(samples[: len(samples) - 20] == part[0])
    return next(int(k) for k in near if np.array_equal(samples[k : k + 20], part)) - 1000


@pytest.mark.parametrize("background", ["clean", "hum", "speech"])
def test_the_interference_alone_sounds_like_what_was_put_in(background):
    scene, gate = heard(1, excess_db=3.0, background=background, random_phase=False)
    clip = interference_clip(scene.samples, 0, RATE_HZ, gate, seconds=3.0)
    assert len(clip) == 3 * RATE_HZ
    assert likeness(clip.astype(float), scene.hash_samples) > 0.9  # what lies under tones is gone


def test_interference_with_a_phase_of_its_own_in_each_burst_is_averaged_too():
    scene, gate = heard(2, excess_db=6.0, random_phase=True, jitter_s=0.001)
    clip = interference_clip(scene.samples, 0, RATE_HZ, gate, seconds=3.0).astype(float)
    power = (clip**2).reshape(-1, 80).mean(axis=1)
    assert np.median(power) < 0.02 * power.max()  # silence between the polls
    clip_power, hash_power = (
        (np.abs(np.fft.rfft(one[: len(one) // 512 * 512].reshape(-1, 512))) ** 2).mean(axis=0)
        for one in (clip, scene.hash_samples)
    )
    assert np.corrcoef(clip_power, hash_power)[0, 1] > 0.95


def test_the_clip_is_comfortable_whatever_the_level_was():
    scene, gate = heard(1, excess_db=6.0, noise_dbfs=-20.0)
    clip = interference_clip(scene.samples, 0, RATE_HZ, gate)
    assert np.max(np.abs(clip)) == pytest.approx(PEAK * FULL_SCALE, abs=1)


@pytest.mark.parametrize("background", ["clean", "hum", "speech", "static", "clicks"])
def test_audio_that_ignores_the_polls_gives_no_interference_to_listen_to(background):
    for seed in range(2):
        scene, gate = heard(seed, excess_db=None, background=background)
        assert interference_clip(scene.samples, 0, RATE_HZ, gate) is None


def test_bursts_that_never_repeat_have_no_average():
    scene, gate = heard(1, excess_db=10.0, same=False)
    assert interference_clip(scene.samples, 0, RATE_HZ, gate) is None


def test_the_quiet_clip_is_the_longest_pause_when_there_is_one():
    scene, gate = heard(1, excess_db=10.0)
    first = gate.between(0.0, 8.0)
    clip = quiet_clip(scene.samples, 0, RATE_HZ, first, seconds=5.0)
    assert len(clip) == 5 * RATE_HZ
    at = next(
        k
        for k in range(10 * RATE_HZ, 25 * RATE_HZ)
        if np.array_equal(scene.samples[k : k + 99], clip[1000:1099])
    )
    assert at > 8 * RATE_HZ
    assert clip[0] == clip[-1] == 0


def test_without_a_pause_the_quiet_between_polls_is_joined():
    scene, gate = heard(1, excess_db=20.0)
    clip = quiet_clip(scene.samples, 0, RATE_HZ, gate, seconds=4.0)
    assert len(clip) == 4 * RATE_HZ
    level = 20 * np.log10(clip[1000:-1000].std() * np.sqrt(2) / FULL_SCALE)
    assert level == pytest.approx(scene.truth.noise_dbfs, abs=0.5)


def test_the_polled_clip_is_the_recording_while_polls_run():
    scene, gate = heard(1, excess_db=10.0)
    late = gate.between(12.0, 20.0)
    clip = polled_clip(scene.samples, 0, RATE_HZ, late, seconds=4.0)
    assert len(clip) == 4 * RATE_HZ
    at = place_of(clip, scene.samples)
    assert at > 12 * RATE_HZ
    assert np.array_equal(clip[1000:-1000], scene.samples[at + 1000 : at + len(clip) - 1000])


def test_nothing_to_hear_gives_no_clip():
    scene, _ = heard(1, seconds=3.0)
    empty = Gate(np.zeros(0), np.zeros(0), np.zeros(0, bool), np.zeros(0, int))
    assert polled_clip(scene.samples, 0, RATE_HZ, empty) is None
    assert interference_clip(scene.samples, 0, RATE_HZ, empty) is None
    assert quiet_clip(scene.samples[:4000], 0, RATE_HZ, empty) is None
    assert len(quiet_clip(scene.samples, 0, RATE_HZ, empty)) == len(scene.samples)
