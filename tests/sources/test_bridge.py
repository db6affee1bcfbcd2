"""The bridge over real pseudo-terminals: a program on one side, a radio on the other."""

from __future__ import annotations

import contextlib
import os
import termios
import threading
import tty
from pathlib import Path

import numpy as np
import pytest
import serial

from telltick.model.errors import BadInputError
from telltick.model.tap import TapPlan
from telltick.model.traffic import Direction
from telltick.sources import bridge as bridge_module
from telltick.sources.program_line import ProgramLine
from telltick.sources.pty_rate import line_baud
from telltick.sources.serial_port import open_port
from tests.sources.bridging import Side, bridge_to, read, write
from tests.sources.far_end import PATIENCE_S, FarEnd

CHAR_NS = 10 / 9600 * 1e9


@pytest.fixture
def bridged(radio, start_bridge, tmp_path):
    """Starts bridges to the radio; returns the name that programs open."""

    def start(**plan) -> Path:
        tap = TapPlan(**{"port": radio.path, "link": tmp_path / "radio", **plan})
        start_bridge(tap, ProgramLine(tap.link, tap.baud, tap.line.stop_bits))
        return tap.link

    return start


@contextlib.contextmanager
def program(link: Path, baud: int = 9600, **options):
    """A station program that opens the link."""
    with serial.Serial(str(link), baud, timeout=PATIENCE_S, **options) as port:
        yield port


def test_a_program_asks_and_the_radio_answers(bridged, radio, told):
    with program(bridged()) as port:
        port.write(b"Q1;")
        assert radio.hear(3) == b"Q1;"
        radio.say(b"Q1 0042;")
        assert port.read(8) == b"Q1 0042;"
        sent, answered = told.burst(Direction.TX), told.burst(Direction.RX)
    assert (sent.data, sent.poll) == (b"Q1;", None)
    assert (answered.data, answered.poll) == (b"Q1 0042;", None)
    assert sent.end_ns - sent.start_ns == pytest.approx(3 * CHAR_NS, abs=2)
    assert answered.end_ns - answered.start_ns >= 8 * CHAR_NS - 1
    assert told.change() == ("program", "open")


def test_every_byte_passes_unchanged_both_ways_at_once(bridged, radio, told):
    draw = np.random.default_rng(11)
    to_radio, to_program = draw.bytes(200_000), draw.bytes(200_000)
    got: dict[str, bytes] = {}
    with program(bridged()) as port:
        port.write(b"!")  # a port that is just being opened forgets what came before
        assert radio.hear(1) == b"!"
        workers = [
            threading.Thread(target=write, args=(port.fileno(), to_radio)),
            threading.Thread(target=write, args=(radio.fd, to_program)),
            threading.Thread(target=lambda: got.update(radio=read(radio.fd, len(to_radio)))),
            threading.Thread(target=lambda: got.update(program=read(port.fileno(), len(to_program)))),
        ]
        for worker in workers:
            worker.start()
        for worker in workers:
            worker.join(timeout=60)
    assert got["radio"] == to_radio
    assert got["program"] == to_program


def test_what_passed_is_journalled_byte_for_byte(bridged, radio, told):
    data = np.random.default_rng(12).bytes(20_000)
    with program(bridged(), 921_600) as port:
        worker = threading.Thread(target=write, args=(port.fileno(), data))
        worker.start()
        assert read(radio.fd, len(data)) == data
        worker.join()
        kept = b""
        while len(kept) < len(data):
            kept += told.burst(Direction.TX).data
    assert kept == data


def test_the_rate_and_the_stop_bits_that_the_program_chooses_reach_the_port(bridged, radio, told):
    with program(bridged(), 19200, stopbits=2) as port:
        port.write(b"Q1;")
        assert radio.hear(3) == b"Q1;"
        assert line_baud(radio.fd, 0) == 19200
        assert termios.tcgetattr(radio.fd)[2] & termios.CSTOPB
        sent = told.burst(Direction.TX)
        assert sent.end_ns - sent.start_ns == pytest.approx(3 * 11 / 19200 * 1e9, abs=3)
        assert [told.change(), told.change()] == [("program", "open"), ("baud", "19200")]
        port.baudrate = 4800
        assert told.change() == ("baud", "4800")
        port.write(b"Q1;")
        assert radio.hear(3) == b"Q1;"
        assert line_baud(radio.fd, 0) == 4800


def test_a_program_that_leaves_and_comes_back_later_is_marked(bridged, radio, told, monkeypatch):
    monkeypatch.setattr(bridge_module, "SETTLED_NS", 20_000_000)
    link = bridged()
    for _ in range(2):
        with program(link) as port:
            port.write(b"Q1;")
            assert radio.hear(3) == b"Q1;"
        assert [told.change(), told.change()] == [("program", "open"), ("program", "closed")]


def test_a_program_that_opens_for_every_request_is_marked_once(bridged, radio, told):
    link = bridged()
    for _ in range(5):
        with program(link) as port:
            port.write(b"Q1;")
            assert radio.hear(3) == b"Q1;"
    assert told.change() == ("program", "open")
    assert told.changes.empty()


def test_the_last_bytes_of_a_program_that_closes_at_once_arrive(bridged, radio):
    fd = os.open(bridged(), os.O_RDWR | os.O_NOCTTY)
    os.write(fd, b"last words")
    os.close(fd)
    assert radio.hear(10) == b"last words"


def test_bytes_that_no_program_is_there_to_read_are_journalled_and_not_kept_for_the_next(
    bridged, radio, told
):
    link = bridged()
    with program(link) as port:
        port.write(b"!")
        radio.hear(1)
    radio.say(b"unasked;")
    assert told.burst(Direction.RX).data == b"unasked;"
    with program(link) as port:
        port.write(b"Q1;")
        radio.hear(3)
        radio.say(b"Q1 0042;")
        assert port.read(8) == b"Q1 0042;"


def test_what_a_program_did_not_read_is_not_given_to_the_next(bridged, radio, told):
    link = bridged()
    with program(link) as port:
        port.write(b"Q1;")
        radio.hear(3)
        radio.say(b"never read;")
        told.burst(Direction.RX)
    with program(link) as port:
        port.timeout = 0.1
        assert port.read(1) == b""


def test_an_echo_that_a_program_left_on_sends_nothing_back_to_the_radio(bridged, radio, told):
    link = bridged()
    fd = os.open(link, os.O_RDWR | os.O_NOCTTY)
    settings = termios.tcgetattr(fd)
    settings[3] |= termios.ECHO
    termios.tcsetattr(fd, termios.TCSANOW, settings)
    os.write(fd, b"!")
    assert radio.hear(1) == b"!"
    radio.say(b"Q1 0042;")
    assert told.burst(Direction.RX).data == b"Q1 0042;"
    assert radio.hear(1, within_s=0.2) == b""
    os.close(fd)


def test_a_radio_that_vanishes_is_told_once_and_carried_on_with_when_it_is_back(
    radio, told, tmp_path, monkeypatch
):
    monkeypatch.setattr(bridge_module, "RETRY_NS", 20_000_000)
    port_name = tmp_path / "port"
    port_name.symlink_to(radio.path)
    tap = TapPlan(port=str(port_name), link=tmp_path / "radio")
    bridge = bridge_to(tap, ProgramLine(tap.link, tap.baud), told)
    bridge.start()
    second = FarEnd()
    with program(tap.link, 19200) as station:
        station.write(b"Q1;")
        radio.hear(3)
        radio.hang_up()
        assert told.troubles.get(timeout=PATIENCE_S)[0] == "serial lost"
        station.write(b"Q1;")
        port_name.unlink()
        port_name.symlink_to(second.path)
        kind, _ = told.troubles.get(timeout=PATIENCE_S)
        assert kind == "serial back"
        station.write(b"Q2;")
        heard = second.hear(3)
        assert heard in (b"Q2;", b"Q1;")  # the request in between went nowhere, or waited for the port
        assert line_baud(second.fd, 0) == 19200
    bridge.stop()
    second.hang_up()


def test_a_port_without_a_descriptor_is_bridged_too(bridged):
    with program(bridged(port="loop://")) as port:
        port.write(b"Q1;")
        assert port.read(3) == b"Q1;"


def test_stopping_frees_the_port_and_takes_the_name_away(bridged, radio, tmp_path):
    link = tmp_path / "radio"
    tap = TapPlan(port=radio.path, link=link)
    bridge = bridge_to(tap, ProgramLine(link, 9600), Side())
    bridge.start()
    with program(link) as port:
        port.write(b"Q1;")
        radio.hear(3)
        bridge.stop()
    assert not os.path.lexists(link)
    open_port(TapPlan(port=radio.path)).close()


# ---- the name


def test_a_left_over_link_is_taken_over(tmp_path):
    link = tmp_path / "radio"
    link.symlink_to("/dev/pts/99999")
    line = ProgramLine(link, 9600)
    assert line.named
    line.close()
    assert not os.path.lexists(link)


@pytest.mark.parametrize("kind", ["file", "link elsewhere", "no folder"])
def test_a_name_that_is_taken_is_refused_and_left_alone(tmp_path, kind):
    link = tmp_path / "radio"
    if kind == "file":
        link.write_text("mine")
    elif kind == "link elsewhere":
        link.symlink_to(tmp_path / "file")
    else:
        link = tmp_path / "nowhere" / "radio"
    with pytest.raises(BadInputError, match="radio"):
        ProgramLine(link, 9600)
    assert kind != "file" or link.read_text() == "mine"


def test_a_name_that_was_deleted_is_made_again_and_one_that_was_taken_is_not_stolen_back(tmp_path):
    link = tmp_path / "radio"
    line = ProgramLine(link, 9600)
    link.unlink()
    assert line.name_again()
    link.unlink()
    link.symlink_to("/dev/null")
    assert not line.name_again()
    line.close()
    assert str(link.readlink()) == "/dev/null"


def test_a_pseudo_terminal_starts_with_the_plans_rate_and_stop_bits_and_raw(tmp_path):
    line = ProgramLine(tmp_path / "radio", 4800, 2)
    assert (line.baud, line.stop_bits) == (4800, 2)
    fd = os.open(line.path, os.O_RDWR | os.O_NOCTTY)
    assert not termios.tcgetattr(fd)[3] & (termios.ECHO | termios.ICANON)
    tty.setcbreak(fd)
    os.close(fd)
    line.clear()
    fd = os.open(line.path, os.O_RDWR | os.O_NOCTTY)
    assert not termios.tcgetattr(fd)[3] & termios.ISIG
    os.close(fd)
    line.close()
