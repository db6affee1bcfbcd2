"""Noise that comes and goes by itself, and polls with no quiet between them, must not look tied to them."""

from __future__ import annotations

import numpy as np
import pytest

from telltick.measure.cells import power_cells
from telltick.measure.latency import find_latency
from telltick.measure.reading import STEADY, take_reading
from telltick.measure.rows import measure_rows
from telltick.model.readings import Estimate, Latency, Reading, Verdict
from telltick.model.traffic import Gate
from tests.scenes import band_noise, make_scene, poll_gate

RATE_HZ = 12000
KNOWN = Latency(Estimate(0.0, 0.0, 0.0), None, None, 9.0)  # so that no search pays for chance


def steady_polls(interval_s: float, on_s: float, seconds: float, rng: np.random.Generator) -> Gate:
    """A request, a short silence and a reply in each interval."""
    at = np.arange(0.5, seconds - 1.5, interval_s)
    at += rng.uniform(-0.002, 0.002, len(at))
    start = np.stack([at, at + 0.35 * on_s], axis=1)
    end = np.stack([at + 0.3 * on_s, at + on_s], axis=1)
    both = np.repeat(np.arange(len(at)), 2)
    return Gate(start.ravel(), end.ravel(), np.tile([False, True], len(at)), both, (b"A", b"B") * len(at))


def keyed(rng: np.random.Generator, seconds: float, on_ms: float, off_ms: float) -> np.ndarray:
    """1 while a far station or a noisy device is on, 0.03 while it is off; exponential spells."""
    out = np.full(int(seconds * RATE_HZ), 0.03)
    at = 0
    while at < len(out):
        on = int(rng.exponential(on_ms) * RATE_HZ / 1000) + 1
        out[at : at + on] = 1.0
        at += on + int(rng.exponential(off_ms) * RATE_HZ / 1000) + 1
    return out


def reading_of_noise(seed: int, interval_s: float, on_s: float, seconds: float, spells=None) -> Reading:
    rng = np.random.default_rng(seed)
    noise = 3000 * rng.standard_normal(int(seconds * RATE_HZ))
    if spells is not None:
        noise *= keyed(rng, seconds, *spells)
    gate = steady_polls(interval_s, on_s, seconds, rng)
    return take_reading(measure_rows(noise.astype(np.int16), 0, RATE_HZ, gate), latency=KNOWN)


def verdict_of_noise(*of, **more) -> Verdict:
    return reading_of_noise(*of, **more).verdict


@pytest.mark.parametrize("spells", [(120, 30), (200, 35)], ids=["on four fifths", "on six sevenths"])
@pytest.mark.parametrize("seed", range(3))
def test_noise_that_comes_and_goes_by_itself_is_not_tied(spells, seed):
    assert verdict_of_noise(seed, 0.2, 0.032, 200.0, spells) is Verdict.NO_TIE


@pytest.mark.parametrize("spells", [(120, 30), (50, 100), (30, 170), (60, 90), (15, 60)])
def test_noise_that_comes_and_goes_by_itself_reads_no_sure_excess(spells):
    excess = reading_of_noise(2, 0.2, 0.032, 60.0, spells).excess_db
    assert excess.low <= 0.0 <= excess.high


def test_in_steady_noise_the_interval_stays_narrow():
    excess = reading_of_noise(1, 0.2, 0.032, 60.0).excess_db
    assert excess.high - excess.low < 0.3


@pytest.mark.parametrize(("interval_s", "on_s"), [(0.06, 0.048), (0.1, 0.09)])
@pytest.mark.parametrize("seed", range(2))
def test_steady_noise_under_polls_without_quiet_between_them_is_not_tied(interval_s, on_s, seed):
    assert verdict_of_noise(seed, interval_s, on_s, 400.0) is Verdict.NO_TIE


def test_noise_that_comes_and_goes_under_polls_without_quiet_between_them_is_not_tied():
    assert verdict_of_noise(0, 0.05, 0.03, 300.0, (200, 40)) is Verdict.NO_TIE


def read_at_its_latency(samples, gate) -> Reading:
    cells = power_cells(samples, 0, 8000)
    latency = find_latency(cells.power, cells.first, gate)
    return take_reading(measure_rows(samples, 0, 8000, gate.shifted(latency.seconds.value)), latency=latency)


def rhythm_of_its_own(seed: int, period_s: float) -> np.ndarray:
    """Noise that is 6 dB louder for 30 ms in each period, by itself."""
    rng = np.random.default_rng(seed)
    at_s = np.arange(480_000) / 8000
    loud = (at_s - rng.uniform(0, period_s)) % period_s < 0.03
    return np.rint(300 * band_noise(rng, 480_000, 8000) * np.where(loud, 2.0, 1.0)).astype(np.int16)


@pytest.mark.parametrize(("rate", "period_s"), [(5.0, 0.2), (5.0, 0.1), (2.0, 0.5), (1.0, 1.0)])
@pytest.mark.parametrize("jitter_s", [0.0, 0.003])
def test_a_tie_to_a_rhythm_that_is_not_the_polls_own_is_never_told_without_that_doubt(
    rate, period_s, jitter_s
):
    gate = poll_gate(np.random.default_rng(2), 60.0, rate=rate, jitter_s=jitter_s)
    found = read_at_its_latency(rhythm_of_its_own(2, period_s), gate)
    assert found.verdict is Verdict.TIED
    assert STEADY in found.warnings


@pytest.mark.parametrize("seed", range(3))
def test_polls_that_the_sound_follows_in_their_unevenness_leave_no_such_doubt(seed):
    scene = make_scene(seed, excess_db=6.0, rate_hz=8000, poll_jitter_s=0.003, jitter_s=0.002)
    found = read_at_its_latency(scene.samples, scene.gate)
    assert found.verdict is Verdict.TIED
    assert STEADY not in found.warnings


def test_strictly_steady_polls_leave_the_doubt_though_it_is_they_who_are_heard():
    scene = make_scene(1, excess_db=6.0, rate_hz=8000, poll_jitter_s=0.0)
    assert STEADY in read_at_its_latency(scene.samples, scene.gate).warnings
