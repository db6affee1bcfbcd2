"""The bridge over TCP, driven by pyserial's own client for RFC 2217 against a pty radio.

RFC 2217: Telnet Com Port Control Option (October 1997); RFC 854: Telnet Protocol Specification.
"""

from __future__ import annotations

import contextlib
import socket
import termios
import threading

import numpy as np
import pytest
import serial

from telltick.model.errors import BadInputError
from telltick.model.tap import LOOPBACK, TapPlan
from telltick.model.traffic import Direction
from telltick.sources import bridge as bridge_module
from telltick.sources.network_line import KEPT_LOW, NetworkLine
from telltick.sources.program_end import LineWish
from telltick.sources.pty_rate import line_baud
from telltick.sources.radio_end import RadioEnd
from tests.sources.bridging import read, write
from tests.sources.far_end import PATIENCE_S

IAC, DO, WILL, SB, SE = b"\xff", b"\xfd", b"\xfb", b"\xfa", b"\xf0"  # RFC 854
COM_PORT_OPTION, SET_CONTROL, DTR_ON = b"\x2c", b"\x05", b"\x08"  # RFC 2217


@pytest.fixture
def port(radio, start_bridge):
    """The TCP port of a bridge to the radio."""
    end = NetworkLine(LOOPBACK, 0, LineWish(9600, 1, 8, "N"))
    start_bridge(TapPlan(port=radio.path, tcp_port=1), end)
    return end.port


@contextlib.contextmanager
def program(port: int, baud: int = 9600, **options):
    """A station program that speaks RFC 2217."""
    with serial.serial_for_url(f"rfc2217://{LOOPBACK}:{port}", baud, timeout=PATIENCE_S, **options) as line:
        yield line


def test_a_program_asks_over_tcp_and_the_radio_answers(port, radio, told):
    with program(port) as line:
        line.write(b"Q1;")
        assert radio.hear(3) == b"Q1;"
        radio.say(b"Q1 0042;")
        assert line.read(8) == b"Q1 0042;"
        sent, answered = told.burst(Direction.TX), told.burst(Direction.RX)
    assert (sent.data, answered.data) == (b"Q1;", b"Q1 0042;")
    assert sent.end_ns - sent.start_ns == pytest.approx(3 * 10 / 9600 * 1e9, abs=2)
    assert told.change() == ("program", "open")


def test_every_byte_passes_unchanged_both_ways_telnets_own_among_them(port, radio):
    draw = np.random.default_rng(13)
    to_radio = bytes(range(256)) + IAC * 50 + draw.bytes(100_000)
    to_program = IAC * 50 + bytes(range(256)) + draw.bytes(100_000)
    got = {}
    with program(port, 921_600) as line:
        workers = [
            threading.Thread(target=line.write, args=(to_radio,)),
            threading.Thread(target=write, args=(radio.fd, to_program)),
            threading.Thread(target=lambda: got.update(radio=read(radio.fd, len(to_radio)))),
        ]
        for worker in workers:
            worker.start()
        got["program"] = line.read(len(to_program))
        for worker in workers:
            worker.join(timeout=60)
    assert got["radio"] == to_radio
    assert got["program"] == to_program


def test_rate_and_framing_that_the_program_chooses_reach_the_port_and_are_marked(port, radio, told):
    with program(port, 19200, stopbits=2) as line:
        line.write(b"Q1;")
        assert radio.hear(3) == b"Q1;"
        assert line_baud(radio.fd, 0) == 19200
        flags = termios.tcgetattr(radio.fd)[2]
        assert flags & termios.CSTOPB
        sent = told.burst(Direction.TX)
        # 1 start + 8 data + 2 stop = 11 bits a character
        assert sent.end_ns - sent.start_ns == pytest.approx(3 * 11 / 19200 * 1e9, abs=3)
        marks = {told.change() for _ in range(3)}
        assert marks == {("program", "open"), ("baud", "19200"), ("framing", "8N2")}
        line.baudrate = 4800
        line.write(b"Q1;")
        assert radio.hear(3) == b"Q1;"
        assert line_baud(radio.fd, 0) == 4800


def test_data_bits_and_parity_reach_a_port_that_has_them_and_are_refused_by_one_that_has_not(port, radio):
    real = serial.serial_for_url("loop://", 9600)
    RadioEnd(real).set_line(LineWish(4800, 2, 7, "E"))
    assert (real.baudrate, real.bytesize, real.parity, real.stopbits) == (4800, 7, "E", 2)
    with pytest.raises(ValueError, match="datasize"), program(port, bytesize=7):  # a pseudo-terminal has 8
        pass


def test_a_rate_that_the_port_refuses_is_refused_to_the_program_and_not_marked(
    port, radio, told, monkeypatch
):
    real = RadioEnd.set_line

    def refuse(self, line):
        if line.baud == 31_337:
            raise ValueError("no such rate")
        real(self, line)

    monkeypatch.setattr(RadioEnd, "set_line", refuse)
    with program(port) as line:
        with pytest.raises(ValueError, match="baudrate"):
            line.baudrate = 31_337
        line.baudrate = 9600
        line.write(b"Q1;")
        assert radio.hear(3) == b"Q1;"
    kinds = [told.troubles.get(timeout=PATIENCE_S)[0] for _ in range(3)]
    assert "baud refused" in kinds
    assert told.change() == ("program", "open")
    assert all(change.factor != "baud" for change in told.changes.queue)


def test_wishes_to_raise_control_lines_are_acknowledged_told_and_never_carried_out(
    port, radio, told, monkeypatch
):
    raised = []
    monkeypatch.setattr(
        "serial.Serial._update_dtr_state", lambda self: raised.append(("dtr", self._dtr_state))
    )
    monkeypatch.setattr(
        "serial.Serial._update_rts_state", lambda self: raised.append(("rts", self._rts_state))
    )
    with program(port) as line:
        line.dtr = True
        line.rts = True
        line.write(b"Q1;")
        radio.hear(3)
    assert not any(state for _, state in raised)
    said = [told.troubles.get(timeout=PATIENCE_S) for _ in range(2)]
    assert {kind for kind, _ in said} == {KEPT_LOW}
    assert "may key a transmitter" in said[0][1]


def test_a_program_that_leaves_and_comes_back_is_marked(port, radio, told, monkeypatch):
    monkeypatch.setattr(bridge_module, "SETTLED_NS", 20_000_000)
    for _ in range(2):
        with program(port) as line:
            line.write(b"Q1;")
            assert radio.hear(3) == b"Q1;"
        assert [told.change(), told.change()] == [("program", "open"), ("program", "closed")]


def test_a_second_program_is_turned_away_and_the_first_goes_on(port, radio, told):
    with program(port) as line:
        line.write(b"Q1;")
        radio.hear(3)
        second = socket.create_connection((LOOPBACK, port), timeout=PATIENCE_S)
        assert second.recv(1) == b""
        second.close()
        line.write(b"Q2;")
        assert radio.hear(3) == b"Q2;"
        kinds = {told.troubles.get(timeout=PATIENCE_S)[0] for _ in range(3)}
        assert "second program" in kinds


def test_a_program_that_only_knows_plain_tcp_is_served_too(port, radio):
    with socket.create_connection((LOOPBACK, port), timeout=PATIENCE_S) as plain:
        plain.sendall(b"Q1;")
        assert radio.hear(3) == b"Q1;"


@pytest.mark.parametrize("baud", [0xF0000000, 4_000_001, 49])
def test_a_rate_that_no_port_can_have_is_refused_and_the_bridge_goes_on(port, radio, told, baud):
    with program(port) as line:
        with pytest.raises(ValueError, match="baudrate"):
            line.baudrate = baud
        line.baudrate = 9600
        line.write(b"Q1;")
        assert radio.hear(3) == b"Q1;"
    kinds = [told.troubles.get(timeout=PATIENCE_S) for _ in range(3)]
    assert any(kind == "baud refused" and str(baud) in words for kind, words in kinds)


def flooded(line: NetworkLine, client: socket.socket, flood: bytes) -> int:
    """Writes on until hung up on; returns how much went in."""
    client.setblocking(False)
    sent = 0
    while sent < 20_000_000:
        with contextlib.suppress(BlockingIOError):
            sent += client.send(flood)
        while (data := line.read()) != b"":
            if data is None:
                return sent
    return sent


@pytest.mark.parametrize(
    "flood",
    [
        pytest.param((IAC + SB + COM_PORT_OPTION + b"x" * 7) + b"x" * 60_000, id="an option without end"),
        pytest.param(
            (IAC + SB + COM_PORT_OPTION + b"\x01" + bytes(4) + IAC + SE) * 6_000, id="unread answers"
        ),
    ],
)
def test_a_program_that_makes_us_hold_ever_more_is_hung_up_on(flood):
    line = NetworkLine(LOOPBACK, 0, LineWish(9600))
    troubles = []
    line.tell = lambda kind, words: troubles.append((kind, words))
    try:
        with socket.create_connection((LOOPBACK, line.port), timeout=PATIENCE_S) as client:
            while not line.there:
                pass
            # The system's own buffers, of megabytes, would only make the test long.
            client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            line._client.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 4096)
            assert flooded(line, client, flood) < 20_000_000
        assert [kind for kind, _ in troubles] == ["program not understood"]
        line.clear()
        assert not line.pending
    finally:
        line.close()


@pytest.mark.parametrize("nonsense", [IAC + SB + COM_PORT_OPTION + b"\x03\x63" + IAC + SE, IAC + SE])
def test_nonsense_hangs_up_on_the_program_and_the_next_is_served(port, radio, told, nonsense):
    with socket.create_connection((LOOPBACK, port), timeout=PATIENCE_S) as plain:
        plain.sendall(nonsense)
        with contextlib.suppress(ConnectionError):
            while plain.recv(100):
                pass
    assert told.troubles.get(timeout=PATIENCE_S)[0] == "program not understood"
    with program(port) as line:
        line.write(b"Q1;")
        assert radio.hear(3) == b"Q1;"


def test_only_the_loopback_address_is_listened_on(port):
    addresses = {info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)}
    for address in addresses - {LOOPBACK} - {f"127.0.1.{k}" for k in range(4)}:
        with pytest.raises(OSError, match="refused"):
            socket.create_connection((address, port), timeout=2)


def test_a_port_that_is_taken_or_an_address_that_is_not_ours_is_refused_with_words(port):
    for address, number in ((LOOPBACK, port), ("192.0.2.7", 0)):  # 192.0.2.0/24: for documentation, RFC 5737
        with pytest.raises(BadInputError, match=f"cannot listen on {address}"):
            NetworkLine(address, number, LineWish(9600))
