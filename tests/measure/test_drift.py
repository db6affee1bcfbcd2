import numpy as np
import pytest

from telltick.measure.cells import power_cells
from telltick.measure.latency import find_latency_in, search_pieces
from telltick.model.traffic import Gate
from tests.scenes import make_scene, poll_gate


def cells_of(scene, pieces):
    rate = scene.rate_hz
    return [power_cells(scene.samples[int(a * rate) : int(b * rate)], int(a * rate), rate) for a, b in pieces]


def drifting_scene(seed, ppm, seconds, excess_db=3.0):
    """A scene whose serial clock is slow by `ppm` against the audio."""
    scene = make_scene(seed, excess_db=excess_db, seconds=seconds, rate_hz=8000, jitter_s=0.001)
    slow = 1 / (1 + 1e-6 * ppm)
    gate = scene.gate
    serial = Gate(gate.start_s * slow, gate.end_s * slow, gate.rx, gate.poll, gate.data)
    return scene, serial


@pytest.mark.parametrize("ppm", [-100.0])
def test_drift_is_found_within_three_ppm_and_the_latency_within_two_milliseconds(ppm):
    scene, gate = drifting_scene(1, ppm, 400)
    latency = find_latency_in(cells_of(scene, search_pieces(gate.poll_start_s, 0, 400)), gate)
    assert latency.drift_ppm == pytest.approx(ppm, abs=3.0)
    errors = gate.start_s + latency.shift_s(gate.start_s) - (scene.gate.start_s + scene.latency_s)
    assert np.abs(errors).max() < 0.002


def test_a_steady_latency_is_given_without_drift():
    scene, gate = drifting_scene(2, 0.0, 200)
    latency = find_latency_in(cells_of(scene, search_pieces(gate.poll_start_s, 0, 200)), gate)
    assert latency.drift_ppm is None
    assert latency.seconds.value == pytest.approx(scene.latency_s, abs=0.001)


def test_noise_that_ignores_the_polls_yields_no_latency_however_many_drifts_are_tried():
    for seed in range(2):
        scene = make_scene(seed, excess_db=None, seconds=200, rate_hz=8000)
        assert (
            find_latency_in(cells_of(scene, search_pieces(scene.gate.poll_start_s, 0, 200)), scene.gate)
            is None
        )


def test_ten_half_minutes_of_an_hour_are_searched_from_end_to_end():
    gate = poll_gate(np.random.default_rng(0), 3600)
    pieces = search_pieces(gate.poll_start_s, 0.0, 3600.0)
    assert len(pieces) == 10
    assert sum(end - start for start, end in pieces) == pytest.approx(300)
    assert pieces[0][0] == 0
    assert pieces[-1][1] == 3600


def test_pieces_are_chosen_where_polls_are():
    gate = poll_gate(np.random.default_rng(0), 3600).between(1000, 1240)
    assert all(960 < start < 1240 for start, _ in search_pieces(gate.poll_start_s, 0.0, 3600.0))


def test_a_short_recording_is_searched_whole():
    assert search_pieces(poll_gate(np.random.default_rng(0), 60).poll_start_s, 2.0, 62.0) == [(2.0, 62.0)]
