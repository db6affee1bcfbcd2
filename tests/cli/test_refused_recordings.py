"""Recorders that cannot start: one clear line, exit code 2, nothing lost and nothing left behind."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from telltick.store.lock import hold
from tests.cli.files import text_file


def test_an_unknown_sound_input_is_refused_by_its_name_and_leaves_nothing(refused, home, tmp_path):
    said = refused("record", "--audio", "nonsense", "--session", tmp_path / "s")
    assert "nonsense" in said or "no sound input" in said
    assert not (tmp_path / "s").exists()
    assert not (home / "telltick").exists()


def test_a_monitor_that_cannot_start_says_the_recorders_own_words(terminal, refused, tmp_path):
    said = refused("monitor", "--audio", "nonsense", "--session", tmp_path / "s")
    assert "sound input" in said
    assert not (tmp_path / "s").exists()


def test_an_empty_folder_stays_when_a_recorder_cannot_start(terminal, refused, tmp_path):
    (tmp_path / "mine").mkdir()
    refused("monitor", "--audio", "nonsense", "--session", tmp_path / "mine")
    assert list((tmp_path / "mine").iterdir()) == []


def test_a_port_without_a_request_is_refused(refused, tmp_path):
    said = refused("record", "--port", "loop://", "--session", tmp_path / "s")
    assert "--frame" in said
    assert not (tmp_path / "s").exists()


def test_polling_options_without_a_port_are_refused(refused, tmp_path):
    assert "--port" in refused("record", "--baud", 9600, "--session", tmp_path / "s")


def test_a_port_that_does_not_exist_is_refused_by_its_name(refused, audio, tmp_path):
    said = refused(
        *("record", "--audio", audio, "--port", "/dev/nowhere", "--frame", "Q1;"),
        *("--session", tmp_path / "s"),
    )
    assert "/dev/nowhere" in said
    assert not (tmp_path / "s").exists()


@pytest.mark.parametrize(
    ("option", "value", "named"),
    [
        ("--interval", "-1", "interval"),
        ("--interval", "nan", "interval"),
        ("--interval", "inf", "interval"),
        ("--baud", "7", "baud"),
        ("--baud", "-9600", "baud"),
        ("--framing", "9X9", "framing"),
        ("--channel", "0", "channel"),
        ("--channel", "-1", "channel"),
        ("--reply-end", "zz", "reply"),
    ],
)
def test_values_out_of_range_are_refused_by_the_name_of_their_option(
    refused, audio, tmp_path, option, value, named
):
    said = refused(
        *("record", "--audio", audio, "--port", "loop://", "--frame", "Q1;", f"{option}={value}"),
        *("--session", tmp_path / "s"),
    )
    assert named in said
    assert not (tmp_path / "s").exists()


@pytest.mark.parametrize("seconds", ["-1", "0", "nan", "inf", "-inf"])
@pytest.mark.parametrize("verb", ["record --bench", "demo --no-screen", "demo"])
def test_seconds_must_be_a_time_that_passes(refused, tmp_path, verb, seconds):
    said = refused(*verb.split(), f"--seconds={seconds}", "--session", tmp_path / "s")
    assert "--seconds" in said
    assert not (tmp_path / "s").exists()


def test_a_demo_without_a_screen_and_without_an_end_is_refused(refused, tmp_path):
    assert "--seconds" in refused("demo", "--no-screen", "--session", tmp_path / "s")
    assert not (tmp_path / "s").exists()


@pytest.mark.parametrize(
    "option", ["--seconds=soon", "--seed=\x1b[31m", "--seed=x", "--seed=-3", "--no-such-option"]
)
def test_words_that_are_no_options_or_numbers_are_refused(refused, option):
    said = refused("demo", option)
    assert option.split("=")[0] in said
    assert "\x1b" not in said


def test_no_verb_at_all_is_refused_with_the_verbs_there_are(refused):
    assert "VERB" in refused()
    assert "replay" in refused("rewind")


# ---- folders


def under_a_file(tmp_path: Path) -> Path:
    """Not even root can make a folder below a file."""
    return text_file(tmp_path / "file", "x") / "deep" / "session"


@pytest.mark.parametrize("verb", ["record --bench", "demo --no-screen --seconds=1", "monitor"])
def test_a_folder_that_cannot_be_written_is_refused(terminal, refused, tmp_path, verb):
    place = under_a_file(tmp_path)
    said = refused(*verb.split(), *(["--audio", "x"] if verb == "monitor" else []), "--session", place)
    assert str(place) in said or "sound input" in said


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="needs /proc")
def test_a_system_folder_that_refuses_is_named(refused):
    assert "/proc/telltick" in refused("record", "--bench", "--session", "/proc/telltick")


@pytest.mark.parametrize("verb", ["record --bench", "demo --no-screen --seconds=1"])
def test_a_folder_that_holds_something_is_not_recorded_into(refused, tmp_path, verb):
    note = text_file(tmp_path / "my notes.txt", "keep me")
    assert "not empty" in refused(*verb.split(), "--session", tmp_path)
    assert note.read_text(encoding="utf-8") == "keep me"


def test_a_session_is_not_recorded_over(refused, saved):
    assert "already holds a session" in refused("record", "--bench", "--session", saved)


@pytest.mark.parametrize(
    "option", ["--interval=1", "--port=loop://", "--audio=x", "--station=hut", "--baud=4800"]
)
def test_the_bench_ignores_no_option_about_real_inputs(refused, tmp_path, option):
    assert option.partition("=")[0] in refused("record", "--bench", option, "--session", tmp_path / "s")
    assert not (tmp_path / "s").exists()


def test_two_recorders_on_one_session_are_one_too_many(refused, tmp_path):
    with hold(tmp_path):
        said = refused("record", "--bench", "--session", tmp_path)
    assert str(os.getpid()) in said


# ---- station profiles and settings


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ('name = "hut"\n[poll]\nprot = "x"\n', "poll.prot"),
        ('[poll]\nport = "loop://"\nframe_text = "Q1;"\nbaud = "fast"\n', "poll.baud"),
        ('[poll]\nport = "loop://"\nframe_text = "Q1;"\ninterval_s = nan\n', "poll.interval_s"),
        ("[audio]\nchannel = -2\n", "audio.channel"),
        ('name = "hut"\nnot toml at all\n', "line 2"),
    ],
)
def test_a_station_profile_with_a_fault_is_refused_with_its_key_or_line(
    terminal, refused, tmp_path, text, named
):
    profile = text_file(tmp_path / "station.toml", text)
    for verb in ("record", "monitor"):
        said = refused(verb, "--station", profile, "--session", tmp_path / "s")
        assert named in said
        assert str(profile) in said
    assert not (tmp_path / "s").exists()


def test_a_missing_station_profile_or_settings_file_is_named(refused, saved, tmp_path):
    assert "none.toml" in refused("record", "--station", tmp_path / "none.toml")
    assert "none.toml" in refused("replay", saved, "--settings", tmp_path / "none.toml")


# ---- screens


def test_an_unknown_palette_is_refused_before_anything_is_recorded(refused, home, saved, tmp_path):
    for command in (
        ("replay", saved),
        ("demo", "--seconds", 30, "--session", tmp_path / "s"),
        ("monitor", "--audio", "x", "--session", tmp_path / "s"),
    ):
        assert "mauve-ish" in refused(*command, "--theme", "mauve-ish")
    assert not (tmp_path / "s").exists()
    assert list(home.iterdir()) == []


def test_a_key_that_cannot_be_is_refused_before_anything_is_recorded(refused, tmp_path):
    settings = text_file(tmp_path / "settings.toml", '[keys]\nmark = "escape"\n')
    said = refused("demo", "--seconds", 30, "--session", tmp_path / "s", "--settings", settings)
    assert said.startswith(f"{settings}, line 2: keys.mark: ")
    assert not (tmp_path / "s").exists()
    assert refused("demo", "--key", "mark=escape").startswith("settings: keys.mark: ")


@pytest.mark.parametrize("speed", ["100", "0", "-1", "nan", "inf"])
def test_a_replay_speed_out_of_range_is_refused(refused, saved, speed):
    assert "0.5 to 64" in refused("replay", saved, f"--speed={speed}")


def test_joining_nothing_is_refused(terminal, refused, tmp_path):
    assert "nowhere" in refused("monitor", "--join", tmp_path / "nowhere")


def test_a_screen_without_a_terminal_is_refused_before_anything_is_recorded(refused, saved, tmp_path):
    for command in (
        ("replay", saved),
        ("demo", "--session", tmp_path / "s"),
        ("monitor", "--session", tmp_path / "s"),
        ("monitor", "--join", saved),
    ):
        assert "needs a terminal" in refused(*command)
    assert not (tmp_path / "s").exists()
