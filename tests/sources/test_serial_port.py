"""Opening ports with care."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import socket
import struct
import subprocess
import sys
import termios
import threading
from types import SimpleNamespace

import pytest
import serial
from serial import rfc2217

from telltick.model.errors import DeviceError
from telltick.model.plan import PollPlan
from telltick.model.traffic import PollOutcome
from telltick.sources.serial_port import holders, list_ports, open_port
from tests.sources.far_end import FarEnd, Heard, poller_for


def plan(port: str, **how) -> PollPlan:
    return PollPlan(port=port, frame_text="Q1;", **how)


@pytest.fixture
def far():
    end = FarEnd()
    yield end
    end.hang_up()


@pytest.fixture
def other_program(far):
    """Another process that has the port open."""
    program = (
        "import os, sys; os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY); print(flush=True); sys.stdin.read()"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", program, far.path], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    process.stdout.readline()
    yield process
    process.stdin.close()
    process.wait(timeout=10)
    process.stdout.close()


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="holders are looked for in /proc")
def test_a_port_that_another_program_holds_is_refused_by_the_programs_name(far, other_program, monkeypatch):
    opened = []
    monkeypatch.setattr("serial.serialposix.os.open", lambda *a: opened.append(a))
    assert [holder.pid for holder in holders(far.path)] == [other_program.pid]
    with pytest.raises(DeviceError, match=rf"in use by python.* \(process {other_program.pid}\): close"):
        open_port(plan(far.path))
    assert opened == []


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="holders are looked for in /proc")
def test_a_holder_is_found_behind_a_link(far, other_program, tmp_path):
    link = tmp_path / "radio"
    link.symlink_to(far.path)
    assert [holder.pid for holder in holders(str(link))] == [other_program.pid]


def test_our_own_process_does_not_count_as_a_holder(far):
    port = open_port(plan(far.path))
    assert holders(far.path) == ()
    port.close()


def test_a_port_is_held_for_us_alone(far):
    port = open_port(plan(far.path))
    with pytest.raises(DeviceError, match="in use by another program"):
        open_port(plan(far.path))
    port.close()
    open_port(plan(far.path)).close()


def test_the_control_lines_are_dropped_before_anything_else_happens_to_the_port(far, monkeypatch):
    done = []
    real_set, real_ioctl = termios.tcsetattr, fcntl.ioctl

    def ioctl(fd, request, *rest):
        done.append({termios.TIOCMBIC: "drop lines", termios.TIOCEXCL: "exclude others"}.get(request))
        return real_ioctl(fd, request, *rest)

    def tcsetattr(*arguments):
        done.append("configure")
        return real_set(*arguments)

    monkeypatch.setattr(fcntl, "ioctl", ioctl)
    monkeypatch.setattr(termios, "tcsetattr", tcsetattr)
    port = open_port(plan(far.path))
    assert done[0] == "drop lines"
    assert done.index("configure") < done.index("exclude others")
    port.close()


@pytest.mark.parametrize(
    ("handshake", "dropped"),
    [
        ("none", termios.TIOCM_DTR | termios.TIOCM_RTS),
        ("xonxoff", termios.TIOCM_DTR | termios.TIOCM_RTS),
        ("rtscts", termios.TIOCM_DTR),
        ("dsrdtr", termios.TIOCM_RTS),
    ],
)
def test_both_control_lines_are_dropped_but_for_the_one_the_handshake_needs(
    far, monkeypatch, handshake, dropped
):
    masks = []
    real_ioctl = fcntl.ioctl

    def ioctl(fd, request, *rest):
        if request == termios.TIOCMBIC:
            masks.append(struct.unpack("I", rest[0])[0])
        return real_ioctl(fd, request, *rest)

    monkeypatch.setattr(fcntl, "ioctl", ioctl)
    open_port(plan(far.path, handshake=handshake)).close()
    assert masks[0] == dropped


def test_a_handshake_is_left_to_the_system(far):
    port = open_port(plan(far.path, handshake="xonxoff", framing="8N2", baud=4800))
    iflag, _, cflag, *_ = termios.tcgetattr(port.fileno())
    assert iflag & termios.IXON
    assert cflag & termios.CSTOPB
    port.close()


def test_a_missing_port_is_told_with_the_ports_there_are():
    with pytest.raises(
        DeviceError, match=r"there is no serial port /dev/no-such-port: connect it, or choose"
    ):
        open_port(plan("/dev/no-such-port"))


def test_a_port_without_permission_is_told_with_the_fix(far, monkeypatch):
    def refuse(*_):
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr("serial.serialposix.os.open", refuse)
    with pytest.raises(DeviceError, match=r"no permission .* group"):
        open_port(plan(far.path))


@pytest.mark.parametrize("url", ["nosuch://thing", "socket://127.0.0.1", "socket://127.0.0.1:1"])
def test_urls_that_lead_nowhere_are_told_in_one_line(url):
    with pytest.raises(DeviceError, match="could not be opened") as told:
        open_port(plan(url))
    assert "\n" not in str(told.value)


def test_a_file_that_is_no_port_is_refused(tmp_path):
    file = tmp_path / "file"
    file.touch()
    with pytest.raises(DeviceError, match="could not be opened"):
        open_port(plan(str(file)))


def test_a_network_port_is_polled_like_any_other():
    heard = Heard()
    with socket.create_server(("127.0.0.1", 0)) as server:

        def answer() -> None:
            connection, _ = server.accept()
            with connection:
                while connection.recv(3):
                    connection.sendall(b"Q1 7;")

        radio = threading.Thread(target=answer, daemon=True)
        radio.start()
        url = f"socket://127.0.0.1:{server.getsockname()[1]}"
        poller = poller_for(plan(url, interval_s=0.02, reply_terminator="3b"), heard, open_port)
        poller.start()
        polls = [heard.poll() for _ in range(3)]
        poller.stop()
        radio.join(timeout=10)
    assert {poll.outcome for poll in polls} == {PollOutcome.REPLY}


class Rfc2217Server(threading.Thread):
    """Serves a loop-back port by RFC 2217, with the library's own server side."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.url = f"rfc2217://127.0.0.1:{self._listening.getsockname()[1]}"
        self.serial = serial.serial_for_url("loop://", timeout=0)

    def run(self) -> None:
        connection, _ = self._listening.accept()
        manager = rfc2217.PortManager(self.serial, SimpleNamespace(write=connection.sendall))
        with self._listening, connection, contextlib.suppress(OSError):
            while data := connection.recv(1024):
                self.serial.write(b"".join(manager.filter(data)))
                asked = self.serial.read(1024)
                reply = b"OK" + asked if asked else b""  # the very bytes asked would be an echo, not a reply
                connection.sendall(b"".join(manager.escape(reply)))


@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")  # the library's own
def test_a_port_of_another_machine_is_polled_by_rfc_2217():
    heard = Heard()
    server = Rfc2217Server()
    server.start()
    request = plan(server.url, interval_s=0.02, reply_terminator="3b", baud=19200, framing="8N2")
    poller = poller_for(request, heard, open_port)
    poller.start()
    polls = [heard.poll() for _ in range(3)]
    poller.stop()
    server.join(timeout=10)
    assert {poll.outcome for poll in polls} == {PollOutcome.REPLY}
    assert (server.serial.baudrate, server.serial.stopbits) == (19200, 2)


def test_listing_ports_opens_none(monkeypatch):
    opened = []
    monkeypatch.setattr("serial.Serial.open", opened.append)
    listed = list_ports()
    assert opened == []
    assert all(port.device for port in listed)
