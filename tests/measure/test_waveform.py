from itertools import product

import numpy as np
import pytest

from telltick.measure.contrasts import contrasts
from telltick.measure.evidence import tie_log_e
from telltick.measure.rows import measure_rows
from telltick.measure.tones import band_bins
from telltick.measure.waveform import poll_windows, tie_of, waveform_tie
from telltick.model.readings import Band
from tests.scenes import make_scene, poll_gate

RATE_HZ = 8000


def evidence_of(scene, baud=9600):
    gate = scene.gate.shifted(scene.latency_s)
    return waveform_tie(scene.samples, 0, RATE_HZ, gate, baud=baud)


def weak(seed, i_over_n_db, seconds=25.0, **scene):
    """Interference below the noise, with 2 ms of timing jitter that nobody knows."""
    excess_db = 10 * np.log10(1 + 10 ** (i_over_n_db / 10))
    return make_scene(seed, excess_db=excess_db, seconds=seconds, rate_hz=RATE_HZ, jitter_s=0.002, **scene)


def polls_needed(log_e):
    return int(np.argmax(log_e >= np.log(100))) + 1 if log_e.max() >= np.log(100) else len(log_e)


def test_a_tie_is_proven_with_far_fewer_polls_than_loudness_needs():
    scenes = [weak(seed, -10.0, seconds=15, random_phase=False, same=False) for seed in range(3)]
    by_waveform = [polls_needed(evidence_of(scene).log_e) for scene in scenes]
    by_loudness = []
    for scene in scenes:
        rows = measure_rows(scene.samples, 0, RATE_HZ, scene.gate.shifted(scene.latency_s))
        beside = contrasts(rows, band_bins(rows, Band()))
        by_loudness.append(polls_needed(tie_log_e(beside.by_turns, beside.sides, beside.spread)))
    assert np.median(by_waveform) * 1.5 < np.median(by_loudness)


@pytest.mark.parametrize(("random_phase", "upright"), [(False, True), (True, None)])
def test_how_the_waveform_comes_through_is_told(random_phase, upright):
    found = evidence_of(weak(5, -6.0, random_phase=random_phase))
    assert found.p_value < 1e-4
    assert found.upright is upright


def test_an_inverted_waveform_is_heard_as_well():
    scene = weak(6, -6.0, random_phase=False)
    gate = scene.gate.shifted(scene.latency_s)
    found = waveform_tie(-scene.samples, 0, RATE_HZ, gate, baud=9600)
    assert found.p_value < 1e-4
    assert found.upright is False


def test_noise_alone_is_no_tie():
    for seed in range(4):
        scene = make_scene(seed, excess_db=None, seconds=20, rate_hz=RATE_HZ)
        assert evidence_of(scene).p_value > 0.01


def test_clicks_whose_rhythm_drifts_slowly_across_the_polls_are_no_tie():
    """A click each 0.7967 s falls into every fourth poll for ten seconds on end."""
    scene = make_scene(38, excess_db=None, rate_hz=RATE_HZ, background="clicks")
    for seed in range(3):
        gate = poll_gate(np.random.default_rng(5380 + seed), 60.0, jitter_s=0.01, same=bool(seed % 2))
        assert waveform_tie(scene.samples, 0, RATE_HZ, gate, baud=9600).p_value > 0.01


def test_polls_without_bytes_or_without_quiet_beside_them_do_not_count():
    crowded = make_scene(1, seconds=5, rate_hz=RATE_HZ, rate=15.0, jitter_s=0.0)
    assert evidence_of(crowded).polls == 0


def test_no_stretch_of_quiet_serves_two_polls():
    scene = make_scene(1, seconds=5, rate_hz=RATE_HZ, rate=9.0, jitter_s=0.0, poll_jitter_s=0.0)
    windows = poll_windows(scene.gate, 0.0, 5.0)
    assert 10 < len(windows.poll) < scene.gate.polls
    spans = windows.begin_s[:, [0, 2]] + np.array([0.0, windows.length_s])
    assert np.all(spans[1:, 0] >= spans[:-1, 1])


def test_the_bet_is_fair_whichever_of_the_three_windows_was_the_polls():
    """An e-value has mean one over the draw (Ramdas et al. 2023): all 27 draws of three polls, worked out."""
    matches = np.random.default_rng(3).normal(0, 2, (3, 3, 3, 6))
    values = [
        np.exp(
            tie_of(np.stack([np.roll(one, turn, 0) for one, turn in zip(matches, turns, strict=True)])).log_e
        )
        for turns in product(range(3), repeat=3)
    ]
    assert np.mean(values, axis=0) == pytest.approx(np.ones(3))
