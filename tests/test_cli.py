"""Bad use and bad input: one clear line, exit code 2, nothing lost and nothing left behind."""

from __future__ import annotations

import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

import telltick.cli
from telltick import __version__
from telltick.cli import main
from telltick.model.clock import NS
from telltick.store.lock import hold
from tests.engine.sessions import RATE, rendered, write_rendered

BURSTS = "start_s,end_s,direction,bytes_hex\n0.5,0.51,tx,51313b\n"
MARKS = "time_s,factor,value,note\n0.2,,,rain\n"


@pytest.fixture(autouse=True)
def home(tmp_path_factory, monkeypatch) -> Path:
    """A home of its own, where nothing must appear that a test does not expect."""
    home = tmp_path_factory.mktemp("home")
    for name in ("HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME"):
        monkeypatch.setenv(name, str(home))
    return home


@pytest.fixture(autouse=True)
def signals():
    """A recorder that runs in this process takes over its signals; the test runner gets them back."""
    kept = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    yield
    for number, handler in kept.items():
        signal.signal(number, handler)


@pytest.fixture
def terminal(monkeypatch):
    """As if the command were typed at a terminal."""
    monkeypatch.setattr(telltick.cli, "_at_terminal", lambda: True)


@pytest.fixture
def refused(capsys):
    """Runs a command that must be refused; returns its one line on stderr."""

    def run(*argv: object) -> str:
        assert main([str(word) for word in argv]) == 2
        out, err = capsys.readouterr()
        assert out == ""
        assert err.startswith("telltick: ")
        assert err.count("\n") == 1
        assert "Traceback" not in err
        return err.removeprefix("telltick: ").strip()

    return run


@pytest.fixture(scope="module")
def saved(tmp_path_factory) -> Path:
    """A saved session of ten seconds; nobody writes to it."""
    return write_rendered(tmp_path_factory.mktemp("saved") / "session", rendered(seconds=10.0))


@pytest.fixture
def audio(tmp_path) -> Path:
    path = tmp_path / "evening.wav"
    soundfile.write(path, np.random.default_rng(3).normal(0, 0.01, 2 * RATE), RATE, subtype="PCM_16")
    return path


def text_file(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


class NoPortAudio:
    """Stands where sounddevice would be found, and fails as it does without the C library."""

    def find_spec(self, name, _path=None, _target=None):
        if name == "sounddevice":
            raise OSError("PortAudio library not found")


@pytest.fixture
def without_portaudio(monkeypatch):
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "meta_path", [NoPortAudio(), *sys.meta_path])


# ---- recording


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
    assert "keys.mark" in said
    assert not (tmp_path / "s").exists()


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


# ---- saved sessions


READERS = [("replay",), ("measure",), ("measure", "--json"), ("export", "--to", "csv")]


@pytest.mark.parametrize("command", READERS, ids=" ".join)
def test_what_is_not_a_session_is_refused(refused, tmp_path, command):
    empty = tmp_path / "empty"
    empty.mkdir()
    assert "not a session" in refused(*command, empty)
    assert "does not exist" in refused(*command, tmp_path / "nowhere")
    assert "is a file" in refused(*command, text_file(tmp_path / "file", "x"))


@pytest.mark.parametrize("command", READERS, ids=" ".join)
def test_a_session_of_a_newer_schema_is_refused_and_left_as_it_is(refused, saved, tmp_path, command):
    copy = shutil.copytree(saved, tmp_path / "copy")
    with sqlite3.connect(copy / "journal.sqlite") as db:
        (version,) = db.execute("PRAGMA user_version").fetchone()
        db.execute(f"PRAGMA user_version = {version + 1}")
    before = (copy / "journal.sqlite").read_bytes()
    assert "newer" in refused(*command, copy)
    assert (copy / "journal.sqlite").read_bytes() == before


@pytest.mark.parametrize("command", READERS, ids=" ".join)
def test_a_damaged_journal_is_refused(refused, tmp_path, command):
    (tmp_path / "journal.sqlite").write_bytes(b"not a database, but long enough to be read as one" * 40)
    assert "journal" in refused(*command, tmp_path)


def test_an_export_to_a_place_that_cannot_be_written_is_refused(refused, saved, tmp_path):
    place = text_file(tmp_path / "file", "x") / "out.json"
    assert str(place) in refused("export", saved, "--to", "json", "-o", place)


def test_an_export_into_a_folder_where_a_file_is_meant_is_refused(refused, saved, tmp_path):
    for place in (tmp_path, ""):
        assert "is a folder" in refused("export", saved, "--to", "vtt", "-o", place)
    assert list(tmp_path.iterdir()) == []


def test_an_export_without_a_place_replaces_nothing(refused, saved, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    mine = text_file(tmp_path / f"{saved.name}.json", "mine")
    assert "exists" in refused("export", saved, "--to", "json")
    assert mine.read_text(encoding="utf-8") == "mine"


def test_an_unknown_export_is_refused(refused, saved):
    assert "'wav2'" in refused("export", saved, "--to", "wav2")


# ---- import


def test_a_missing_recording_is_refused_and_leaves_nothing(refused, tmp_path):
    assert "gone.wav" in refused("import", tmp_path / "gone.wav", "--session", tmp_path / "s")
    assert not (tmp_path / "s").exists()


def test_what_is_not_audio_is_refused_and_leaves_nothing(refused, tmp_path):
    letter = text_file(tmp_path / "letter.wav", "Dear hut,\n" * 200)
    assert "letter.wav" in refused("import", letter, "--session", tmp_path / "s")
    assert not (tmp_path / "s").exists()


@pytest.mark.parametrize(
    ("table", "text", "line"),
    [
        ("bursts", f"{BURSTS}0.9,0.8,rx,00\n", 3),
        ("bursts", f"{BURSTS}0.9,1.0,up,00\n", 3),
        ("bursts", f"{BURSTS}0.9,nan,rx,00\n", 3),
        ("bursts", f"{BURSTS}-0.9,1.0,rx,00\n", 3),
        ("bursts", f"{BURSTS}0.9,1.0,rx,0x\n", 3),
        ("bursts", "start,end\n", 1),
        ("marks", f"{MARKS}soon,,,\n", 3),
        ("marks", f"{MARKS}0.4,antenna,,\n", 3),
        ("marks", f"{MARKS}0.4,antenna\n", 3),
    ],
)
def test_a_malformed_table_is_refused_with_its_line_and_leaves_nothing(
    refused, audio, tmp_path, table, text, line
):
    path = text_file(tmp_path / f"{table}.csv", text)
    said = refused("import", audio, f"--{table}", path, "--session", tmp_path / "s")
    assert f"{table}.csv, line {line}: " in said
    assert not (tmp_path / "s").exists()


@pytest.mark.parametrize(
    ("option", "named"),
    [
        ("--channel=2", "channel"),
        ("--channel=0", "channel"),
        ("--channel=-1", "channel"),
        ("--baud=-5", "baud"),
        ("--baud=0", "baud"),
        ("--framing=tight", "framing"),
    ],
)
def test_an_import_with_a_value_out_of_range_is_refused_and_leaves_nothing(
    refused, audio, tmp_path, option, named
):
    assert named in refused("import", audio, option, "--session", tmp_path / "s")
    assert not (tmp_path / "s").exists()


def test_nothing_is_imported_into_a_folder_that_holds_something(refused, audio, saved, tmp_path):
    assert "not empty" in refused("import", audio, "--session", tmp_path)
    assert "already holds a session" in refused("import", audio, "--session", saved)
    assert audio.exists()


def test_an_import_that_fails_half_way_leaves_no_half_session(refused, tmp_path):
    whole = tmp_path / "whole.flac"
    noise = np.random.default_rng(5).integers(-3000, 3000, 30 * RATE, dtype=np.int16)
    soundfile.write(whole, noise, RATE, subtype="PCM_16")
    damaged = bytearray(whole.read_bytes())
    damaged[len(damaged) // 2 :: 97] = bytes(len(damaged[len(damaged) // 2 :: 97]))
    cut = tmp_path / "cut.flac"
    cut.write_bytes(damaged)
    assert "damaged" in refused("import", cut, "--session", tmp_path / "s")
    assert not (tmp_path / "s").exists()


def test_an_import_that_fails_leaves_a_folder_that_was_there_before(refused, tmp_path):
    (tmp_path / "s").mkdir()
    refused("import", tmp_path / "gone.wav", "--session", tmp_path / "s")
    assert list((tmp_path / "s").iterdir()) == []


# ---- without the sound library


def test_check_explains_a_missing_sound_library_and_goes_on(without_portaudio, capsys):
    assert main(["check", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert "PortAudio" in found["sound_problem"]
    assert found["sound_inputs"] == []
    assert found["cautions"]
    assert main(["check"]) == 0
    assert "demo, replay, import, measure and export work without it" in capsys.readouterr().out


def test_check_explains_a_sound_system_that_gives_no_list(monkeypatch, capsys):
    sounddevice = pytest.importorskip("sounddevice", exc_type=OSError)

    def broken(*_args: object) -> None:
        raise sounddevice.PortAudioError("Unanticipated host error")

    monkeypatch.setattr(sounddevice, "query_devices", broken)
    assert main(["check", "--json"]) == 0
    assert "Unanticipated host error" in json.loads(capsys.readouterr().out)["sound_problem"]


def test_check_lists_ports_without_opening_any(monkeypatch, capsys):
    opened: list[object] = []
    real_open = os.open

    def watched(path, *args, **kwargs):
        opened.append(path)
        return real_open(path, *args, **kwargs)

    def never(*_args: object, **_kwargs: object) -> None:
        raise AssertionError("a port was opened")

    from serial import Serial
    from serial.tools import list_ports, list_ports_common

    port = list_ports_common.ListPortInfo("/dev/ttyUSB7")
    port.description = "a cable"
    monkeypatch.setattr(list_ports, "comports", lambda *_: [port])
    monkeypatch.setattr(Serial, "open", never)
    monkeypatch.setattr(os, "open", watched)
    assert main(["check", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["ports"] == [{"port": "/dev/ttyUSB7", "what": "a cable"}]
    assert not [path for path in opened if str(path).startswith("/dev/tty")]


def test_recording_sound_without_the_library_is_refused_with_the_fix(without_portaudio, refused, tmp_path):
    said = refused("record", "--session", tmp_path / "s")
    assert "PortAudio" in said
    assert "install" in said


def test_import_measure_and_export_work_without_the_sound_library(without_portaudio, audio, tmp_path, capsys):
    assert main(["import", str(audio), "--session", str(tmp_path / "s")]) == 0
    assert main(["measure", str(tmp_path / "s"), "--json"]) == 0
    assert main(["export", str(tmp_path / "s"), "--to", "csv", "-o", str(tmp_path / "csv")]) == 0
    assert "sounddevice" not in sys.modules
    assert "Traceback" not in capsys.readouterr().err


def test_replay_and_the_bench_need_no_sound_library(without_portaudio, saved):
    from telltick.engine.inputs import simulated_inputs
    from telltick.engine.replay import SavedFeed
    from telltick.model.snapshot import View

    inputs = simulated_inputs(1)
    inputs.close()
    feed = SavedFeed(saved)
    feed.seek(8 * NS)
    assert feed.look(View()).step.polls > 20
    feed.close()
    assert "sounddevice" not in sys.modules


# ---- what works, and processes of their own


def test_the_version_is_told(capsys):
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"telltick {__version__}\n"


def test_measure_prints_one_json_object_and_a_summary_for_people(saved, capsys):
    assert main(["measure", str(saved), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["schema"] == "telltick.measurement/1"
    assert found["whole"]["verdict"] == "tied to polling"
    assert main(["measure", str(saved)]) == 0
    assert "tied to polling" in capsys.readouterr().out


def test_a_refusal_reaches_the_shell_as_exit_code_two_and_one_line(tmp_path):
    command = [sys.executable, "-m", "telltick", "measure", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1


def test_a_reader_that_goes_away_gets_no_traceback(saved):
    program = [sys.executable, "-m", "telltick", "measure", str(saved), "--json"]
    with subprocess.Popen(program, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        said = process.stderr.read()
        process.wait(timeout=60)
    assert said == b""
    assert process.returncode == 1
