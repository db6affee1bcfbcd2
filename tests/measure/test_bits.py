"""Whether the bits themselves are heard, against noise of the same length and other bits in their place."""

from __future__ import annotations

import numpy as np
import pytest

from telltick.measure.bits import BitsListener, bits_heard
from tests.scenes import band_noise, line_hash, make_scene

RATE_HZ = 8000
ALPHABET = np.frombuffer(b"0123456789ABCDEF;", dtype=np.uint8)


def scene_of(seed, i_over_n_db, **scene):
    excess_db = None if i_over_n_db is None else 10 * np.log10(1 + 10 ** (i_over_n_db / 10))
    return make_scene(seed, excess_db=excess_db, seconds=20, rate_hz=RATE_HZ, jitter_s=0.002, **scene)


def judged(scene, samples=None, **line):
    gate = scene.gate.shifted(scene.latency_s)
    return bits_heard(scene.samples if samples is None else samples, 0, RATE_HZ, gate, baud=9600, **line)


def instead(seed, same, waveform):
    """Polls whose bytes are not what is heard: `waveform` makes that from their gate, as loud as N."""
    scene = scene_of(seed, None, same=same)
    rng = np.random.default_rng(1000 + seed)
    gate = scene.gate.shifted(scene.latency_s + np.repeat(rng.normal(0, 0.002, scene.gate.polls), 2))
    heard = waveform(rng, gate, len(scene.samples))
    heard *= 230.0 / np.sqrt(np.sum(heard**2) / (np.sum(gate.on_s) * RATE_HZ))
    return judged(scene, np.rint(scene.samples + heard).astype(np.int16))


def gated_noise(rng, gate, count):
    out, noise = np.zeros(count), band_noise(rng, count, RATE_HZ)
    for start, end in zip(gate.start_s, gate.end_s, strict=True):
        out[int(start * RATE_HZ) : int(end * RATE_HZ)] = 1.0
    return out * noise


def dying_noise(rng, gate, count):
    out = gated_noise(rng, gate, count)
    at = np.arange(count) / RATE_HZ
    begun = gate.start_s[np.maximum(np.searchsorted(gate.start_s, at, side="right") - 1, 0)]
    return out * np.exp(-np.maximum(at - begun, 0) / 0.006)


def other_texts(rng, gate, count):
    return line_hash(rng, gate_with(gate, lambda n: rng.choice(ALPHABET, n).tobytes()), count, RATE_HZ, 9600)


def one_other_text(rng, gate, count):
    text = {n: rng.choice(ALPHABET, n).tobytes() for n in (5, 23)}
    return line_hash(rng, gate_with(gate, text.__getitem__), count, RATE_HZ, 9600)


def gate_with(gate, text):
    data = tuple(text(len(one)) for one in gate.data)
    return type(gate)(gate.start_s, gate.end_s, gate.rx, gate.poll, data)


@pytest.mark.parametrize("same", [True, False])
@pytest.mark.parametrize("random_phase", [True, False])
def test_bits_are_heard_six_decibels_below_the_noise(same, random_phase):
    found = judged(scene_of(1, -6.0, same=same, random_phase=random_phase))
    assert found.heard
    assert found.log10_e > 6
    assert found.upright is (None if random_phase else True)
    assert "times better" in found.because


def test_an_inverted_line_is_heard_as_well():
    scene = scene_of(2, 0.0, random_phase=False)
    found = judged(scene, -scene.samples)
    assert (found.heard, found.upright) == (True, False)


@pytest.mark.parametrize("same", [True, False])
def test_noise_of_the_same_length_is_not_taken_for_the_bits(same):
    assert not any(instead(seed, same, gated_noise).heard for seed in range(3))


@pytest.mark.parametrize("same", [True, False])
@pytest.mark.parametrize("waveform", [dying_noise, other_texts, one_other_text])
def test_polls_that_are_heard_without_their_bits_are_told_as_that(waveform, same):
    found = [instead(seed, same, waveform) for seed in range(2)]
    assert not any(one.heard for one in found)
    assert all(one.log10_e > 2 for one in found)
    assert "other bytes of the same length fit as well" in found[0].because


def test_silence_about_the_bits_is_said_where_nothing_is_heard():
    found = judged(scene_of(3, None))
    assert (found.heard, found.upright) == (False, None)
    assert found.because == "Nothing in the audio follows the bits."


def test_bits_at_another_rate_are_not_heard():
    scene = scene_of(5, 6.0)
    assert not bits_heard(scene.samples, 0, RATE_HZ, scene.gate.shifted(scene.latency_s), baud=7200).heard


def test_too_few_polls_say_how_many_it_takes():
    crowded = make_scene(1, seconds=5, rate_hz=RATE_HZ, rate=15.0)
    assert "it takes at least" in judged(crowded).because


def test_several_stretches_are_as_good_as_one():
    scene = scene_of(6, -3.0)
    gate = scene.gate.shifted(scene.latency_s)
    listener = BitsListener(RATE_HZ, 9600)
    for first in (0, 10 * RATE_HZ):
        near = gate.between(first / RATE_HZ, first / RATE_HZ + 10)
        listener.add(scene.samples[first : first + 10 * RATE_HZ], first, near)
    found = listener.result()
    assert found.heard
    assert found.polls == pytest.approx(judged(scene).polls, abs=3)
    assert not listener.full
