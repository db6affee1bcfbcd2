"""What a user says of a session on the command line."""

from __future__ import annotations

import pytest

from telltick.engine.measuring_options import calibration_point, measuring_options
from telltick.model.errors import BadInputError
from telltick.model.on_air import Environment
from telltick.options import build_parser


def options(*words: str):
    return measuring_options(build_parser().parse_args(["measure", "s", *words]))


def test_nothing_said_leaves_everything_to_the_session():
    said = options()
    assert (said.latency_s, said.calibration, said.environment, said.frequency_hz) == (None,) * 4
    assert said.bound_db == 1.0


def test_a_level_below_zero_is_a_value_and_not_an_option():
    said = options("--calibrate", "-73dBm=-41.2dBFS", "--environment", "quiet rural", "--frequency", "14100")
    assert (said.calibration.input_dbm, said.calibration.audio_dbfs) == (-73.0, -41.2)
    assert said.environment is Environment.QUIET_RURAL
    assert said.frequency_hz == 14.1e6


def test_latency_and_bound_are_taken_as_they_are():
    said = options("--latency-ms", "63.5", "--bound-db", "2")
    assert (said.latency_s, said.bound_db) == (0.0635, 2.0)


@pytest.mark.parametrize(
    ("text", "key", "value", "audio_dbfs"),
    [
        ("-73 dBm = -41.2 dBFS", "input_dbm", -73.0, -41.2),
        ("S9+20=-30dBFS", "s_meter", "S9+20", -30.0),
        ("s7=-50dbfs", "s_meter", "S7", -50.0),
        ("NF8dB", "noise_figure_db", 8.0, None),
        ("NF=8.5dB=-52dBFS", "noise_figure_db", 8.5, -52.0),
    ],
)
def test_calibration_points_are_read_as_operators_write_them(text, key, value, audio_dbfs):
    point = calibration_point(text)
    assert (getattr(point, key), point.audio_dbfs) == (value, audio_dbfs)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--calibrate", "loud"), "--calibrate loud: write a level"),
        (("--calibrate", "-73dBm"), "audio_dbfs: say what the level reads"),
        (("--calibrate", "-999dBm=-41dBFS"), "input_dbm: must be -180 to 30"),
        (("--frequency", "10"), "--frequency 10: write a frequency"),
        (("--latency-ms", "900"), "--latency-ms must be -100 to 500"),
        (("--bound-db", "0"), "--bound-db must be above 0"),
    ],
)
def test_what_cannot_be_used_is_said_with_what_to_write(words, message):
    with pytest.raises(BadInputError, match=message):
        options(*words)
