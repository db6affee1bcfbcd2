"""Levels at the antenna socket, and whether interference would matter there."""

from __future__ import annotations

import pytest

from telltick.measure.levels import dbm_of_s_units, thermal_dbm
from telltick.measure.on_air import calibration_from, frequency_in, on_air
from telltick.model.on_air import Calibration, CalibrationPoint, Environment
from telltick.model.readings import Reading, Verdict
from tests.measure.outside import rows_of

HF = 14.1e6


def test_a_known_level_is_the_calibration():
    found = calibration_from(CalibrationPoint(input_dbm=-73.0, audio_dbfs=-41.2), HF)
    assert (found.input_dbm, found.audio_dbfs, found.how) == (-73.0, -41.2, "known input level")


@pytest.mark.parametrize("row", rows_of("iaru_r1_smeter.csv"), ids=lambda r: r["s"])
def test_an_s_meter_point_is_the_level_of_iaru_region_1(row):
    # IARU Region 1 Technical Recommendation R.1.
    if "+" in row["s"]:
        pytest.skip("above S9 the table counts in dB")
    unit = int(row["s"].removeprefix("S"))
    assert dbm_of_s_units(unit, 0.0, HF) == pytest.approx(float(row["hf_dbm"]))
    assert dbm_of_s_units(unit, 0.0, 145e6) == pytest.approx(float(row["vhf_dbm"]))


def test_an_s_meter_point_above_s9_counts_in_db():
    found = calibration_from(CalibrationPoint(s_meter="S9+20 dB", audio_dbfs=-20.0), HF)
    assert found.input_dbm == pytest.approx(-53.0)


def test_a_noise_figure_tells_the_level_of_a_receivers_own_noise():
    # Friis 1944: noise k T0 B F at the input; k T0 is -173.975 dBm in 1 Hz, 2400 Hz are 33.8 dB.
    point = CalibrationPoint(noise_figure_db=8.0)
    found = calibration_from(point, HF, own_noise_dbfs=-52.0)
    assert found.input_dbm == pytest.approx(-173.975 + 33.802 + 8.0, abs=0.01)
    assert found.audio_dbfs == -52.0
    assert calibration_from(point, HF) is None


READING = Reading(80, 40.0, -52.0, -49.0, verdict=Verdict.TIED)


def test_interference_far_below_the_band_noise_is_hidden_and_far_above_heard():
    # P.372, rural at 14.1 MHz: 67.2 - 27.7 lg 14.1 = 35.4 dB above k T0 B, -104.7 dBm in 2400 Hz.
    expected_dbm = 67.2 - 27.7 * 1.149219 + thermal_dbm(2400.0)
    for off_db, words in ((-6.0, "hidden by band noise"), (0.5, "about as strong as band noise"),
                          (6.0, "heard above band noise")):  # fmt: skip
        calibration = Calibration(input_dbm=expected_dbm + off_db, audio_dbfs=-49.0)
        found = on_air(READING, calibration, HF, Environment.RURAL)
        assert found.verdict == words
        assert found.over_expected_db == pytest.approx(off_db, abs=0.01)
        assert found.noise_dbm == pytest.approx(found.interference_dbm - 3.0)


def test_without_interference_only_the_floor_is_told():
    found = on_air(
        Reading(80, 40.0, -52.0), Calibration(input_dbm=-100, audio_dbfs=-52), HF, Environment.CITY
    )
    assert (found.interference_dbm, found.over_expected_db) == (None, None)
    assert found.verdict == "no interference found"
    assert on_air(Reading(0, 0.0), Calibration(input_dbm=0, audio_dbfs=0), HF, Environment.CITY) is None


@pytest.mark.parametrize(
    ("text", "frequency_hz"),
    [("14.100 MHz", 14.1e6), ("7050 kHz", 7.05e6), ("7050", 7.05e6), ("another band", None), ("5 Hz", None),
     ("", None), ("145.5MHz", 145.5e6)],
)  # fmt: skip
def test_frequencies_are_read_as_operators_write_them(text, frequency_hz):
    assert frequency_in(text) == (None if frequency_hz is None else pytest.approx(frequency_hz))


@pytest.mark.parametrize(
    ("wrong", "key"),
    [({}, "input_dbm"), ({"input_dbm": -73.0}, "audio_dbfs"),
     ({"s_meter": "S12", "audio_dbfs": 0.0}, "s_meter"),
     ({"input_dbm": -73.0, "s_meter": "S9", "audio_dbfs": 0.0}, "input_dbm"),
     ({"noise_figure_db": 90.0}, "noise_figure_db")],
)  # fmt: skip
def test_a_point_that_cannot_be_names_its_key(wrong, key):
    with pytest.raises(ValueError, match=f"^{key}: "):
        CalibrationPoint(**wrong)


@pytest.mark.parametrize(
    ("interference_dbfs", "word", "by"), [(-30.0, "heard", "15 dB above"), (-60.0, "hidden", "15 dB below")]
)
def test_the_answer_says_hidden_or_heard_by_how_much_and_where(interference_dbfs, word, by):
    # Rec. ITU-R P.372: rural at 14.1 MHz is 67.2 - 27.7 log10(14.1) = 35.4 dB above kTB; in 2400 Hz that is
    # -174 + 33.8 + 35.4 = -104.8 dBm.
    level = Calibration(input_dbm=-60.0, audio_dbfs=0.0)
    heard = Reading(100, 20.0, -50.0, interference_dbfs, verdict=Verdict.TIED)
    found = on_air(heard, level, 14.1e6, Environment.RURAL)
    assert found is not None
    assert found.word == word
    assert by in found.answer
    assert "rural place at 14.100 MHz" in found.answer
