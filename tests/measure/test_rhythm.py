"""A gate made of a rhythm, and what is read with it."""

import numpy as np
import pytest
from scipy import stats

from telltick.measure.period import find_period
from telltick.measure.reading import STEADY
from telltick.measure.rhythm import NOT_SHOWN, folded, gate_of_period, loud_part, rhythmic_reading
from telltick.measure.rows import measure_rows
from telltick.model.characteristics import Period
from telltick.model.readings import Estimate, Verdict
from tests.scenes import make_scene

RATE_HZ = 8000


def rhythm(period_s=0.2, phase_s=0.05, on_s=0.03):
    return Period(Estimate(period_s, period_s, period_s), phase_s, 20.0, 1e-9, on_s=on_s)


def test_the_gate_opens_around_each_beat_of_the_stretch():
    gate = gate_of_period(rhythm(), 100.0, 110.0)
    assert gate.polls == 50
    assert np.diff(gate.start_s) == pytest.approx(0.2)
    assert gate.start_s[0] == pytest.approx(100.035)
    assert gate.end_s - gate.start_s == pytest.approx(0.03)


def test_a_length_that_is_asked_for_is_taken():
    gate = gate_of_period(rhythm(), 0.0, 10.0, on_s=0.1)
    assert gate.end_s - gate.start_s == pytest.approx(0.1)


def test_a_gate_that_never_closes_is_refused():
    with pytest.raises(ValueError, match="does not fit"):
        gate_of_period(rhythm(), 0.0, 10.0, on_s=0.2)


def test_excess_is_measured_without_any_serial_data_but_no_tie_is_claimed():
    scene = make_scene(3, excess_db=6.0, seconds=60, rate_hz=RATE_HZ, poll_jitter_s=0.0, rate=5.0)
    period = find_period(scene.samples, 0, RATE_HZ)
    gate = gate_of_period(period, 0.0, 60.0)
    reading = rhythmic_reading(measure_rows(scene.samples, 0, RATE_HZ, gate))
    assert reading.excess_db.value == pytest.approx(6.0, abs=0.5)
    assert reading.noise_dbfs == pytest.approx(scene.truth.noise_dbfs, abs=0.2)
    assert reading.verdict is not Verdict.TIED
    assert reading.p_value is None
    assert NOT_SHOWN in reading.warnings


@pytest.mark.parametrize("rate", [1.0, 2.0])
def test_nothing_is_said_of_polls_where_nobody_polled(rate):
    scene = make_scene(3, excess_db=6.0, seconds=60, rate_hz=RATE_HZ, poll_jitter_s=0.0, rate=rate)
    rows = measure_rows(scene.samples, 0, RATE_HZ, scene.gate.shifted(scene.latency_s))
    assert STEADY not in rhythmic_reading(rows).warnings


def test_the_loud_part_is_told_to_a_few_milliseconds():
    rng = np.random.default_rng(1)
    at = np.arange(30_000) * 0.002
    loud = (at - 0.31) % 0.75 < 0.06
    beat = rng.exponential(1.0, len(at)) * (1 + loud)
    middle_s, on_s = loud_part(beat - beat.mean(), 0.002, 0.75)
    assert middle_s == pytest.approx(0.34, abs=0.004)
    assert on_s == pytest.approx(0.06, abs=0.008)


def test_folding_gives_the_epoch_folding_statistic_of_leahy_1983():
    # Profile and statistic: stingray's ef_profile_stat, after Leahy et al. 1983, ApJ 266, 160; its chance by
    # chi squared with one degree of freedom less than the profile has parts.
    mean, count = folded(np.tile([10.0, 12, 20, 30, 20, 12, 10, 6], 5), 1.0, 8.0)
    statistic = np.sum((mean - mean.mean()) ** 2 / mean.mean())
    assert list(count) == [5] * 8
    assert statistic == pytest.approx(28.2666666667)
    assert stats.chi2.sf(statistic, 7) == pytest.approx(0.00019671967, rel=1e-6)
