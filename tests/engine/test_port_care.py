"""The port is treated with care: told before it is opened, and a dry run opens nothing."""

from __future__ import annotations

import pytest

import telltick.cli
from telltick.cli import main
from telltick.engine.port_care import port_with_lines
from telltick.model.cautions import FRAMES, SERIAL_LINES, SERIAL_LINES_IN_SHORT
from telltick.options import build_parser
from tests.sources.far_end import FarEnd


@pytest.fixture
def nothing_opens(monkeypatch):
    """Fails the test when anything is opened."""

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("something was opened")

    for name in ("telltick.engine.opening.real_inputs", "telltick.engine.opening.start_detached"):
        monkeypatch.setattr(name, refuse)
    monkeypatch.setattr("serial.Serial.open", refuse)


def flat(text: str) -> str:
    return " ".join(text.split())


def dry(capsys, verb: str, *words: object) -> str:
    assert main([verb, "--dry-run", *(str(word) for word in words)]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return flat(out)


@pytest.mark.parametrize("verb", ["record", "monitor"])
def test_a_dry_run_prints_the_frame_and_the_cautions_and_opens_nothing(nothing_opens, capsys, verb):
    said = dry(capsys, verb, "--port", "/dev/ttyHUT", "--frame", "Q1\\r;", "--reply-end", "3b")
    assert "nothing is opened, nothing is sent" in said
    assert "text Q1\\r; hex 51 31 0d 3b 4 bytes, 4.2 ms on the line" in said  # 10 bits at 9600 baud: 1.04 ms
    assert "ends with 3b" in said
    assert flat(SERIAL_LINES) in said
    assert flat(FRAMES) in said


def test_bytes_that_no_terminal_should_see_are_printed_as_escapes(nothing_opens, capsys):
    said = dry(capsys, "record", "--port", "/dev/ttyHUT", "--frame-hex", "1b5b324aff")
    assert "\x1b" not in said
    assert "text \\x1b[2J\\xff hex 1b 5b 32 4a ff" in said
    assert "is not waited for" in said


def test_a_dry_run_of_a_station_profile_prints_what_the_profile_says(nothing_opens, capsys, tmp_path):
    path = tmp_path / "hut.toml"
    path.write_text('[poll]\nport = "/dev/ttyHUT"\nframe_text = "Q1;"\nenabled = false\n', encoding="utf-8")
    assert "once polling is switched on" in dry(capsys, "record", "--station", path)


def test_a_dry_run_of_a_bridge_says_that_the_frames_are_not_ours(nothing_opens, capsys, tmp_path):
    said = dry(capsys, "record", "--port", "/dev/ttyHUT", "--bridge", tmp_path / "radio")
    assert "none of our own" in said
    assert not (tmp_path / "radio").is_symlink()


def test_a_dry_run_of_listening_says_that_nothing_is_sent(nothing_opens, capsys):
    assert "none: it only listens" in dry(capsys, "record", "--listen", "/dev/ttyHUT")


def test_a_dry_run_names_who_holds_the_port(nothing_opens, capsys, monkeypatch):
    from telltick.sources.serial_port import Holder

    monkeypatch.setattr("telltick.engine.port_care.holders", lambda _: (Holder(77, "logger"),))
    said = dry(capsys, "record", "--port", "/dev/ttyHUT", "--frame", "Q1;")
    assert "in use by logger (process 77)" in said


def test_the_dry_run_of_what_cannot_be_is_refused_as_the_real_one_is(nothing_opens, capsys):
    assert main(["record", "--dry-run", "--port", "/dev/ttyHUT"]) == 2
    assert "--frame" in capsys.readouterr().err


# ---- the caution before the first open


def lines_of(*words: str) -> str | None:
    return port_with_lines(build_parser().parse_args(["record", *words]))


def test_only_a_port_that_is_there_and_has_control_lines_calls_for_the_caution(tmp_path):
    port = tmp_path / "ttyHUT"
    port.touch()
    far = FarEnd()
    assert lines_of("--port", str(port), "--frame", "Q1;") == str(port)
    assert lines_of("--listen", str(port)) == str(port)
    assert lines_of("--port", "rfc2217://hut:4001", "--frame", "Q1;") == "rfc2217://hut:4001"
    assert lines_of("--port", far.path, "--frame", "Q1;") is None
    assert lines_of("--port", "loop://", "--frame", "Q1;") is None
    assert lines_of("--port", str(tmp_path / "gone"), "--frame", "Q1;") is None
    assert lines_of() is None
    assert lines_of("--bench") is None
    far.hang_up()


def test_recording_says_the_caution_before_it_opens_the_port(monkeypatch, capsys, tmp_path):
    port = tmp_path / "ttyHUT"
    port.touch()
    said_before: list[str] = []

    def note(*_: object) -> None:
        said_before.append(capsys.readouterr().err)
        raise KeyboardInterrupt

    monkeypatch.setattr("telltick.engine.opening.real_inputs", note)
    monkeypatch.setattr(telltick.cli, "_on_signals", lambda _: None)
    assert main(["record", "--port", str(port), "--frame", "Q1;", "--session", str(tmp_path / "s")]) == 1
    assert said_before == [f"telltick: caution: {SERIAL_LINES}\n"]


def test_monitoring_says_it_before_the_recorder_starts_and_again_on_screen(monkeypatch, capsys, tmp_path):
    port = tmp_path / "ttyHUT"
    port.touch()
    order: list[str] = []

    def start(*_: object) -> object:
        order.append(capsys.readouterr().err)
        return tmp_path

    def show(_feed: object, _settings: object, *, notice: str = "") -> object:
        order.append(notice)
        return type("Left", (), {"farewell": lambda self, _: "done"})()

    monkeypatch.setattr(telltick.cli, "_at_terminal", lambda: True)
    monkeypatch.setattr("telltick.engine.opening.start_recorder", start)
    monkeypatch.setattr(
        "telltick.engine.live.LiveFeed", lambda folder: type("F", (), {"folder": str(folder)})()
    )
    monkeypatch.setattr("telltick.ui.app.run_screen", show)
    assert main(["monitor", "--port", str(port), "--frame", "Q1;"]) == 0
    assert order == [f"telltick: caution: {SERIAL_LINES}\n", SERIAL_LINES_IN_SHORT]
