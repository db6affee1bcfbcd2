"""Against Rec. ITU-R BS.468-4: Table 1 (weighting), Table 2 (single bursts), Table 3 (repeated bursts)."""

import numpy as np
import pytest

from telltick.measure.loudness import heard_level, quasi_peak, weighted, weighting
from telltick.model.clock import Anchor, AudioClock
from telltick.model.traffic import gate_from_bursts
from tests.measure.outside import rows_of
from tests.scenes import make_scene

RATES = (16_000, 48_000)


def tone(rate_hz, seconds, freq_hz=5000.0):
    return np.sin(2 * np.pi * freq_hz * np.arange(round(seconds * rate_hz)) / rate_hz)


def burst_reading(rate_hz, burst):
    silence = np.zeros(round(0.1 * rate_hz))
    return quasi_peak(np.concatenate([silence, burst, np.zeros(rate_hz)]), rate_hz).max()


@pytest.mark.parametrize("row", rows_of("bs468_weighting.csv"), ids=lambda row: row["freq_hz"])
def test_the_weighting_lies_within_the_tolerance_of_table_1(row):
    response_db = 20 * np.log10(abs(weighting(float(row["freq_hz"]))))
    assert response_db == pytest.approx(
        float(row["response_db"]), abs=max(0.05, float(row["tolerance_db_plus_minus"]))
    )


@pytest.mark.parametrize("rate_hz", RATES)
@pytest.mark.parametrize("row", rows_of("bs468_single_bursts.csv"), ids=lambda row: row["burst_ms"] + " ms")
def test_single_bursts_read_within_the_limits_of_table_2(rate_hz, row):
    steady = quasi_peak(tone(rate_hz, 3), rate_hz).max()
    reading = burst_reading(rate_hz, tone(rate_hz, float(row["burst_ms"]) / 1000))
    assert float(row["lower_pct"]) < 100 * reading / steady < float(row["upper_pct"])


@pytest.mark.parametrize("rate_hz", RATES)
@pytest.mark.parametrize("row", rows_of("bs468_repetitive_bursts.csv"), ids=lambda row: row["bursts_per_s"])
def test_repeated_bursts_read_within_the_limits_of_table_3(rate_hz, row):
    steady = quasi_peak(tone(rate_hz, 3), rate_hz).max()
    cycle = np.zeros(rate_hz // int(row["bursts_per_s"]))
    burst = tone(rate_hz, 0.005)
    cycle[: len(burst)] = burst
    reading = quasi_peak(np.tile(cycle, 4 * int(row["bursts_per_s"])), rate_hz).max()
    assert float(row["lower_pct"]) < 100 * reading / steady < float(row["upper_pct"])


@pytest.mark.parametrize("rate_hz", RATES)
def test_a_steady_sine_of_1_khz_reads_its_rms(rate_hz):
    # Clause 2.6: 0.775 V r.m.s. reads 0.775 V; clause 2.5: overswing of a sudden tone at most 0.3 dB.
    needle = quasi_peak(*weighted(tone(rate_hz, 4, 1000.0), rate_hz))
    assert 20 * np.log10(needle[-1] * np.sqrt(2)) == pytest.approx(0.0, abs=0.1)
    assert 20 * np.log10(needle.max() / needle[-1]) < 0.3


def test_slow_audio_is_brought_to_a_rate_the_meter_can_read():
    audio, rate_hz = weighted(tone(8000, 3, 1000.0), 8000)
    assert rate_hz >= 16_000
    needle = quasi_peak(audio, rate_hz)
    assert 20 * np.log10(needle[-1] * np.sqrt(2)) == pytest.approx(0.0, abs=0.1)


def test_polls_are_heard_above_the_floor_they_interrupt():
    scene = make_scene(1, excess_db=10.0, seconds=15, rate_hz=8000)
    polled = heard_level(scene.samples, 8000, scene.gate.shifted(scene.latency_s))
    silent = make_scene(1, excess_db=None, seconds=15, rate_hz=8000)
    nothing = heard_level(silent.samples, 8000, silent.gate.shifted(silent.latency_s))
    assert nothing.polled_db - nothing.floor_db == pytest.approx(0.0, abs=0.3)
    assert polled.floor_db == pytest.approx(nothing.floor_db, abs=0.3)
    assert 3 < polled.polled_db - polled.floor_db < 12


def test_audio_without_a_second_of_quiet_has_no_heard_level():
    scene = make_scene(1, seconds=2, rate_hz=8000)
    assert heard_level(scene.samples[:8000], 8000, scene.gate) is None


def test_a_stretch_without_polls_has_no_level_with_them():
    audio = np.random.default_rng(4).integers(-300, 300, 32_000, np.int16)
    none = gate_from_bursts([], AudioClock(8000, [Anchor(0, 0, 0, 0)], 32_000))
    heard = heard_level(audio, 8000, none)
    assert heard.floor_db < 0
    assert (heard.polled_db, heard.more_db) == (None, None)
