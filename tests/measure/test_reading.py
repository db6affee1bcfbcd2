import numpy as np
import pytest

from telltick.measure.cells import power_cells
from telltick.measure.latency import find_latency
from telltick.measure.reading import polling_facts, spectrum_of, take_reading
from telltick.measure.rows import measure_rows
from telltick.model.readings import Estimate, Latency, Verdict
from tests.scenes import make_scene


def read(scene):
    cells = power_cells(scene.samples, 0, scene.rate_hz)
    latency = find_latency(cells.power, cells.first, scene.gate)
    gate = scene.gate.shifted(latency.seconds.value if latency else 0.0)
    rows = measure_rows(scene.samples, 0, scene.rate_hz, gate)
    return take_reading(rows, latency=latency)


@pytest.mark.parametrize("excess_db", [1.0, 2.0, 3.0, 6.0, 10.0, 20.0])
@pytest.mark.parametrize("seed", [1, 2])
def test_in_clean_noise_the_excess_is_right_within_a_fifth_of_a_decibel(excess_db, seed):
    reading = read(make_scene(seed, excess_db=excess_db, jitter_s=0.002))
    assert reading.excess_db.value == pytest.approx(excess_db, abs=0.2)
    assert reading.excess_db.low < excess_db < reading.excess_db.high
    assert reading.verdict is Verdict.TIED


def test_noise_floor_and_interference_are_told_in_dbfs():
    reading = read(make_scene(1, excess_db=10.0))
    assert reading.noise_dbfs == pytest.approx(-40.0, abs=0.15)
    assert reading.interference_dbfs - reading.noise_dbfs == pytest.approx(10 * np.log10(9), abs=0.2)


def test_polls_without_interference_give_no_tie_and_an_upper_limit():
    reading = read(make_scene(3, excess_db=None))
    assert reading.verdict is Verdict.NO_TIE
    assert reading.interference_dbfs is None
    assert -20 < reading.upper_limit_i_over_n_db < -5


@pytest.mark.parametrize(("i_over_n_db", "known"), [(-13.0, True), (-7.0, True), (-10.0, False)])
def test_the_upper_limit_covers_weak_interference_in_93_of_100_stretches(i_over_n_db, known):
    excess_db = 10 * np.log10(1 + 10 ** (i_over_n_db / 10))
    scene = make_scene(31, excess_db=excess_db, seconds=720, rate_hz=8000, jitter_s=0.002)
    at = Latency(Estimate(scene.latency_s, scene.latency_s, scene.latency_s), score=20.0) if known else None
    gate = scene.gate.shifted(scene.latency_s if known else 0.1)
    rows = measure_rows(scene.samples, 0, scene.rate_hz, gate)
    stretches = [rows.between(start, start + 6.0) for start in np.arange(0.0, 714.0, 6.0)]
    limits = [take_reading(part, latency=at).upper_limit_i_over_n_db for part in stretches]
    assert np.mean(np.array(limits) >= i_over_n_db) >= 0.93


def test_before_the_latency_is_settled_sound_beside_the_gate_is_no_reading():
    scene = make_scene(5, excess_db=6.5, seconds=6)
    too_early = scene.gate.shifted(scene.latency_s - 0.064)
    reading = take_reading(measure_rows(scene.samples, 0, scene.rate_hz, too_early), latency=None)
    assert (reading.verdict, reading.excess_db) == (Verdict.TOO_FEW, None)
    assert "not settled" in reading.warnings[0]


def test_too_few_polls_say_how_many_more_are_needed():
    reading = read(make_scene(4, seconds=2.5))
    assert reading.verdict is Verdict.TOO_FEW
    assert reading.excess_db is None
    assert "more" in reading.warnings[0]


def test_the_spectrum_separates_floor_and_what_rises():
    scene = make_scene(5, excess_db=10.0)
    spectrum = spectrum_of(measure_rows(scene.samples, 0, scene.rate_hz, scene.gate.shifted(0.04)))
    inside = (spectrum.freq_hz > 400) & (spectrum.freq_hz < 2600)
    rise = spectrum.active_dbfs[inside] - spectrum.quiet_dbfs[inside]
    assert np.mean(10 ** (rise / 10)) == pytest.approx(10.0, rel=0.1)
    assert not spectrum.tonal[inside].any()


def test_polling_facts_tell_rate_and_byte_on_share():
    scene = make_scene(6, seconds=30)
    facts = polling_facts(scene.gate.rhythm, 30.0, 9600, "8N1")
    assert facts.interval_median_s == pytest.approx(0.2, abs=0.005)
    assert facts.byte_on_fraction == pytest.approx(28 * 10 / 9600 * facts.polls / 30, rel=1e-6)


def test_a_given_latency_pays_nothing_for_a_search_and_one_that_was_found_and_kept_does():
    scene = make_scene(11, excess_db=0.3, seconds=60, rate_hz=8000)
    rows = measure_rows(scene.samples, 0, 8000, scene.gate.shifted(scene.latency_s))
    seconds = Estimate(scene.latency_s, scene.latency_s, scene.latency_s)
    given = take_reading(rows, latency=Latency(seconds, score=1000.0, locked=True))
    searched = take_reading(rows, latency=Latency(seconds, score=5.5))
    kept = take_reading(rows, latency=Latency(seconds, score=5.5, locked=True))
    assert given.p_value < searched.p_value == kept.p_value <= 1.0
