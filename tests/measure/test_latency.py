import numpy as np
import pytest

from telltick.measure import latency_fit
from telltick.measure.cells import Cells, power_cells
from telltick.measure.latency import find_latency
from telltick.model.traffic import Gate
from tests.scenes import make_scene, poll_gate


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


@pytest.mark.parametrize("seed", [1005, 1006, 1027])
def test_hum_far_louder_than_weak_bursts_does_not_mislead(seed):
    scene = make_scene(seed, excess_db=1.0, background="agc+hum", jitter_s=0.002)
    assert latency_of(scene).seconds.value == pytest.approx(scene.latency_s, abs=0.002)


@pytest.mark.parametrize("background", ["clean", "static", "fading"])
def test_bursts_that_are_heard_at_their_ends_alone_do_not_mislead(background):
    """Of bytes at 115200 baud little lies in the passband: the search alone is 3 ms off."""
    found = [fast_and_short(seed, background) for seed in range(1000, 1006)]
    error_ms = np.array([1000 * (one.seconds.value - 0.04) for one in found])
    assert np.abs(error_ms).max() < 1.0
    assert np.sqrt(np.mean(error_ms**2)) < 0.5
    assert sum(one.seconds.low < 0.04 < one.seconds.high for one in found) >= 5


def fast_and_short(seed, background):
    return latency_of(
        make_scene(
            seed, excess_db=6.0, seconds=40, jitter_s=0.002, background=background, baud=115200, reply=120
        )
    )


def test_replies_of_many_lengths_have_edges_as_sharp_as_those_of_one():
    rng = np.random.default_rng(3)
    parts = [
        poll_gate(rng, 1.5, reply=reply, first_s=0.15 + at) for at, reply in enumerate([4, 9, 23, 60] * 10)
    ]
    latency = latency_of(make_scene(9, excess_db=6.0, seconds=42, jitter_s=0.002, gate=joined(parts)))
    assert latency.seconds.value == pytest.approx(0.04, abs=0.0005)


def joined(parts):
    gates = [one.between(at, at + 1) for at, one in enumerate(parts)]
    begun = np.cumsum([0] + [one.polls for one in gates])
    return Gate(
        np.concatenate([one.start_s for one in gates]),
        np.concatenate([one.end_s for one in gates]),
        np.concatenate([one.rx for one in gates]),
        np.concatenate([one.poll + first for one, first in zip(gates, begun, strict=False)]),
        sum((one.data for one in gates), ()),
    )


def test_the_latency_of_polls_without_quiet_between_them_is_the_one_searched():
    scene = make_scene(4, excess_db=6.0, seconds=30, rate=20.0, reply=37, poll_jitter_s=0.001)
    assert latency_of(scene).seconds.value % 0.05 == pytest.approx(0.04, abs=0.002)


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


@pytest.mark.parametrize("rate_hz", [8000, 11_025, 12_000, 22_050, 44_100])
def test_cells_are_the_same_however_the_audio_is_cut(rate_hz):
    scene = make_scene(7, seconds=10, rate_hz=rate_hz)
    whole = power_cells(scene.samples, 0, scene.rate_hz)
    parts, resume_s = [], 0.0
    for end in range(8000, len(scene.samples) + 1, 8000):
        first = int(resume_s * scene.rate_hz)
        parts.append(power_cells(scene.samples[first:end], first, scene.rate_hz))
        resume_s = parts[-1].resume_s
    joined = Cells.join(parts)
    assert joined.first == whole.first
    assert np.array_equal(joined.power, whole.power[: len(joined.power)])
    assert len(whole.power) - len(joined.power) <= 8000 / rate_hz * 1000


@pytest.mark.parametrize("rate_hz", [12_000, 48_000])
def test_a_click_between_two_cells_is_heard_alike_in_both(rate_hz):
    samples = np.zeros(2 * rate_hz, dtype=np.int16)
    samples[rate_hz] = 30_000
    cells = power_cells(samples, 0, rate_hz)
    before, after = cells.power[999 - cells.first : 1001 - cells.first]
    assert before == pytest.approx(after, rel=0.01)
    assert before + after > 0.9 * cells.power.sum()


@pytest.mark.parametrize("rate_hz", [8_000, 44_100, 48_000])
def test_cells_add_up_to_the_band_power(rate_hz):
    scene = make_scene(8, seconds=10, rate_hz=rate_hz, excess_db=None)
    cells = power_cells(scene.samples, 0, rate_hz)
    assert 10 * np.log10(cells.power.mean()) == pytest.approx(-40.0, abs=0.25)


@pytest.mark.parametrize(("excess_db", "seconds"), [(1.0, 20.0), (6.0, 20.0), (25.0, 60.0)])
def test_leaving_out_latencies_that_are_far_less_likely_changes_nothing(excess_db, seconds, monkeypatch):
    scene = make_scene(2, excess_db=excess_db, seconds=seconds, rate_hz=8000)
    some = latency_of(scene).seconds
    monkeypatch.setattr(latency_fit, "_NEGLIGIBLE", np.inf)
    every = latency_of(scene).seconds
    assert (some.value, some.low, some.high) == pytest.approx((every.value, every.low, every.high), abs=1e-6)
