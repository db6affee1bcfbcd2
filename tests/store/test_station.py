"""Station profiles, poll plans and settings: TOML in, plain sentences when something is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from telltick.model.errors import BadInputError
from telltick.model.on_air import CalibrationPoint, Environment, Place
from telltick.model.plan import AudioPlan, PollPlan, Settings, StationProfile
from telltick.store.settings import load_settings, settings_path
from telltick.store.station import load_plan, load_station
from telltick.store.stations import station_text

STATION = """
name = "larkfell hut"
[audio]
device = "line in"
rate_hz = 48000
channel = 2
[poll]
port = "/dev/ttyUSB0"
frame_text = "RF;"
interval_s = 1
baud = 4800
reply_terminator = "3b"
[setup]
antenna = "beam"
"rf gain" = "full"
"""

POLL = "port = 'x'\nframe_text = 'a'\n"


@pytest.fixture
def write(tmp_path):
    def write(text: str | bytes) -> Path:
        path = tmp_path / "station.toml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


def test_a_whole_profile_is_read(write):
    assert load_station(write(STATION)) == StationProfile(
        name="larkfell hut",
        audio=AudioPlan(device="line in", channel=2),
        poll=PollPlan(port="/dev/ttyUSB0", frame_text="RF;", interval_s=1, baud=4800, reply_terminator="3b"),
        setup={"antenna": "beam", "rf gain": "full"},
    )


def test_a_profile_may_be_nearly_empty(write):
    assert load_station(write("")) == StationProfile()


def test_a_plan_is_read_from_a_file_of_its_own_and_from_a_profile(write):
    plan = PollPlan(port="loop://", frame_hex="fe 01")
    assert load_plan(write("port = 'loop://'\nframe_hex = 'fe 01'")) == plan
    assert load_plan(write("[poll]\nport = 'loop://'\nframe_hex = 'fe 01'")) == plan


@pytest.mark.parametrize("prefix", [b"\xef\xbb\xbf", b""])
def test_editors_of_every_system_are_served(write, prefix):
    assert load_station(write(prefix + b'name = "hut"\r\n[setup]\r\na = "b"\r\n')).setup == {"a": "b"}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (f"[poll]\n{POLL}interval_s = -1", r"poll\.interval_s: must be 0\.01 to 3600"),
        (f"[poll]\n{POLL}interval_s = nan", r"poll\.interval_s: must be"),
        (f"[poll]\n{POLL}interval_s = 'fast'", r"interval_s: must be a number, not text"),
        (f"[poll]\n{POLL}intervall_s = 1", r"did you mean poll\.interval_s\?"),
        (f"[poll]\n{POLL}baud = 1.5", r"poll\.baud: must be a whole number, not a number"),
        (f"[poll]\n{POLL}reply_bytes = ''", r"reply_bytes: must be a whole number or nothing"),
        (f"[poll]\n{POLL}handshake = 'maybe'", r"handshake: must be one of none, rtscts, .*, not 'maybe'"),
        (f"[poll]\n{POLL}framing = '9X9'", r"poll\.framing: must look like 8N1"),
        ("[poll]\nport = 'x'\nframe_hex = 'zz'", r"poll\.frame_hex: "),
        ("[poll]\nport = 'x'", r"poll\.frame_text: give the request"),
        ("[poll]\nframe_text = 'a'", r"poll\.port: this key is missing"),
        ("[audio]\nchannel = 0", r"audio\.channel: must be 1 to 32"),
        ("[audio]\nrate_hz = 1", r"audio\.rate_hz: must be 8000 to 192000"),
        ("audio = 5", r"audio: must be a section, not a whole number"),
        ("colour = 'red'", r"no key colour; it may hold audio, calibration, name, place, poll, setup"),
        ("[setup]\nantenna = 5", r"setup\.antenna: must be text, not a whole number"),
        ("name = \n", r"station\.toml, line 1, column 8: invalid value"),
        ("a = 1\na = 2\n", r"station\.toml, line 2"),
        ("[poll", r"station\.toml, "),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_with_its_key_or_line(write, text, said):
    with pytest.raises(BadInputError, match=said) as caught:
        load_station(write(text))
    assert "station.toml" in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("name = 'hut'\n\n[poll]\nport = 'x'\nframe_text = 'a'\nbaud = 1.5\n", 6),
        ("[audio]\nchannel = 1\n[poll]\nport = 'x'\nframe_text = 'a'\n'intervall_s' = 1\n", 6),
        ("[audio]\nchannel = 2\n\n[setup]\nchannel = 5\n", 5),
        ("# colour\ncolour = 'red'\n", 2),
        ("name = 'hut'\n[places]\n", 2),
    ],
)
def test_what_is_wrong_is_said_with_its_line(write, text, line):
    with pytest.raises(BadInputError, match=rf"station\.toml, line {line}: "):
        load_station(write(text))


def test_a_plan_of_its_own_names_keys_without_a_section(write):
    with pytest.raises(BadInputError, match=r"toml, line 3: baud: must be 50 to"):
        load_plan(write(f"{POLL}baud = 1"))


def test_a_file_that_is_missing_or_not_text_is_told(write, tmp_path):
    with pytest.raises(BadInputError, match="cannot be read"):
        load_station(tmp_path / "nowhere.toml")
    with pytest.raises(BadInputError, match="cannot be read"):
        load_station(tmp_path)
    with pytest.raises(BadInputError, match="not UTF-8"):
        load_station(write(b"\xff\xfe\x00"))
    with pytest.raises(BadInputError, match="too large"):
        load_station(write(b"#" * 1_000_001))
    with pytest.raises(BadInputError):
        load_station(write("a = " + "[" * 5000))


def test_settings_are_shipped_ones_until_a_file_is_written(tmp_path, monkeypatch):
    monkeypatch.setattr("telltick.store.settings.settings_path", lambda: tmp_path / "settings.toml")
    assert load_settings() == Settings()
    (tmp_path / "settings.toml").write_text("theme = 'dusk'\n[keys]\nundo = 'z'\n")
    assert load_settings() == Settings(theme="dusk", keys={"undo": "z"})


def test_a_settings_file_that_was_named_must_exist(tmp_path):
    with pytest.raises(BadInputError, match="settings file cannot be read"):
        load_settings(tmp_path / "nowhere.toml")


def test_settings_lie_in_the_platforms_place():
    assert settings_path().name == "settings.toml"
    assert settings_path().parent.name == "telltick"


def test_a_calibration_and_a_place_are_read_and_kept(tmp_path):
    path = tmp_path / "station.toml"
    path.write_text(
        'name = "larkfell hut"\n[calibration]\ninput_dbm = -73\naudio_dbfs = -41.2\n'
        'how = "signal generator"\n[place]\nenvironment = "quiet rural"\nfrequency_khz = 14100\n'
    )
    profile = load_station(path)
    assert profile.calibration == CalibrationPoint(input_dbm=-73, audio_dbfs=-41.2, how="signal generator")
    assert profile.place == Place(environment=Environment.QUIET_RURAL, frequency_khz=14100)
    path.write_text(station_text(profile))
    assert load_station(path) == profile


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[calibration]\ninput_dbm = -73", "calibration.audio_dbfs: say what"),
        ('[calibration]\ns_meter = "S0"\naudio_dbfs = -40', "calibration.s_meter: must be S1 to S9"),
        ('[place]\nenvironment = "swamp"', "place.environment: must be one of city, residential"),
        ("[place]\nfrequency_khz = 10", "place.frequency_khz: must be 300 to 250000"),
    ],
)
def test_a_calibration_that_cannot_be_names_its_key(tmp_path, text, message):
    path = tmp_path / "station.toml"
    path.write_text(text)
    with pytest.raises(BadInputError, match=message):
        load_station(path)
