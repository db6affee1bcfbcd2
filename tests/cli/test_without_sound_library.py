"""Machines without PortAudio: what needs it says so, all else works."""

from __future__ import annotations

import json
import os
import sys

import pytest

from telltick.cli import main
from telltick.model.clock import NS


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
