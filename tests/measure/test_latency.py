import numpy as np
import pytest

from telltick.measure.cells import Cells, power_cells
from telltick.measure.latency import find_latency
from tests.scenes import make_scene


def latency_of(scene):
    cells = power_cells(scene.samples, 0, scene.rate_hz)
    return find_latency(cells.power, cells.first, scene.gate)


@pytest.mark.parametrize("latency_s", [-0.05, 0.0, 0.12, 0.4])
def test_the_latency_is_found_within_two_milliseconds(latency_s):
    latency = latency_of(make_scene(5, excess_db=3.0, latency_s=latency_s, seconds=30))
    assert latency.seconds.value == pytest.approx(latency_s, abs=0.002)
    assert latency.modulo_s is None


@pytest.mark.parametrize("background", ["clean", "static"])
@pytest.mark.parametrize("seed", [2, 3, 8, 10])
def test_the_latency_of_loud_bursts_does_not_wander_with_their_faint_tails(seed, background):
    scene = make_scene(seed, excess_db=30.0, latency_s=0.04, seconds=20, background=background)
    assert latency_of(scene).seconds.value == pytest.approx(0.04, abs=0.0005)


def test_strictly_periodic_polls_leave_the_latency_open_by_whole_periods():
    scene = make_scene(6, excess_db=6.0, latency_s=0.31, seconds=30, jitter_s=0.0, poll_jitter_s=0.0)
    latency = latency_of(scene)
    assert latency.modulo_s == pytest.approx(0.2, abs=0.002)
    assert (latency.seconds.value - 0.31) / 0.2 == pytest.approx(
        round((latency.seconds.value - 0.31) / 0.2), abs=0.02
    )


def test_noise_that_ignores_the_polls_yields_no_latency():
    found = [latency_of(make_scene(seed, excess_db=None, seconds=20, rate_hz=8000)) for seed in range(20)]
    assert found == [None] * 20


def test_cells_are_the_same_however_the_audio_is_cut():
    scene = make_scene(7, seconds=10)
    whole = power_cells(scene.samples, 0, scene.rate_hz)
    parts, resume_s = [], 0.0
    for end in range(8000, len(scene.samples) + 1, 8000):
        first = int(resume_s * scene.rate_hz)
        parts.append(power_cells(scene.samples[first:end], first, scene.rate_hz))
        resume_s = parts[-1].resume_s
    joined = Cells.join(parts)
    assert joined.first == whole.first
    assert np.array_equal(joined.power, whole.power)


@pytest.mark.parametrize("rate_hz", [8_000, 44_100, 48_000])
def test_cells_add_up_to_the_band_power(rate_hz):
    scene = make_scene(8, seconds=10, rate_hz=rate_hz, excess_db=None)
    cells = power_cells(scene.samples, 0, rate_hz)
    assert 10 * np.log10(cells.power.mean()) == pytest.approx(-40.0, abs=0.25)
