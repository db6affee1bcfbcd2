import pytest

from telltick.measure.levels import expected_noise, s_units, thermal_dbm
from telltick.model.on_air import Calibration, Environment
from tests.measure.outside import rows_of


@pytest.mark.parametrize(
    "row", rows_of("p372_examples.csv"), ids=lambda r: f"{r['environment']} {r['freq_mhz']}"
)
def test_noise_to_expect_is_that_of_p_372(row):
    # Rec. ITU-R P.372, medians of Table 1; examples worked out from its constants.
    noise = expected_noise(Environment(row["environment"]), 1e6 * float(row["freq_mhz"]), 2500.0)
    assert noise.figure_db == pytest.approx(float(row["fam_db"]), abs=0.001)
    assert noise.dbm == pytest.approx(float(row["noise_dbm_in_2500hz"]), abs=0.006)


@pytest.mark.parametrize("row", rows_of("p372_constants.csv"), ids=lambda r: r["environment"])
def test_a_tenth_of_hours_and_places_lies_above_and_below_as_p_372_says(row):
    noise = expected_noise(Environment(row["environment"]), 14e6, 2500.0)
    assert noise.high_dbm - noise.dbm == pytest.approx(float(row["upper_decile_db"]))
    assert noise.dbm - noise.low_dbm == pytest.approx(float(row["lower_decile_db"]))


@pytest.mark.parametrize("frequency_hz", [0.1e6, 300e6])
def test_frequencies_outside_the_curves_are_refused(frequency_hz):
    with pytest.raises(ValueError, match="not at"):
        expected_noise(Environment.RURAL, frequency_hz, 2500.0)


@pytest.mark.parametrize("row", rows_of("iaru_r1_smeter.csv"), ids=lambda r: r["s"])
def test_s_units_are_those_of_iaru_region_1(row):
    # IARU Region 1 Technical Recommendation R.1.
    assert s_units(float(row["hf_dbm"]), 14e6) == row["s"]
    assert s_units(float(row["vhf_dbm"]), 145e6) == row["s"]


def test_levels_beyond_the_scale_say_so():
    assert s_units(-63.0, 7e6) == "S9+10 dB"
    assert s_units(-130.0, 7e6) == "below S1"


def test_thermal_noise_in_one_hertz_is_minus_174_dbm():
    # k is exact in the SI (CODATA 2018); T0 = 290 K.
    assert thermal_dbm(1.0) == pytest.approx(-173.975, abs=0.001)


def test_a_calibration_moves_audio_levels_to_the_antenna_socket():
    calibration = Calibration(input_dbm=-73.0, audio_dbfs=-20.0)
    assert calibration.dbm(-32.0) == pytest.approx(-85.0)
