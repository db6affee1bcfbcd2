"""Serial ports: listed without being opened, opened once with the control lines released, never stolen.

On many stations DTR or RTS keys the transmitter. POSIX systems raise both for a moment at every open,
whatever is asked. So a port is never opened to see whether it exists or is free, another program that holds
it is looked for first, and a port once opened stays open (`telltick.sources.poller`).
"""

from __future__ import annotations

import errno
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import serial
from serial.tools import list_ports as _list_ports

from telltick.model.errors import DeviceError
from telltick.model.framing import Framing

try:
    import termios

    PORT_ERRORS: tuple[type[Exception], ...] = (
        OSError,
        ValueError,
        OverflowError,
        NotImplementedError,
        termios.error,
    )
except ImportError:  # not a POSIX system
    PORT_ERRORS = (OSError, ValueError, OverflowError, NotImplementedError)

READ_SLICE_S = 0.02  # how long one read may block; set once: network ports negotiate afresh when it changes
WRITE_TIMEOUT_S = 1.0


class LineSettings(Protocol):
    """What a plan says about its port; `telltick.model.plan.PollPlan` and `telltick.model.tap.TapPlan` do."""

    @property
    def port(self) -> str:
        """A device or any pyserial URL."""

    @property
    def baud(self) -> int:
        """Bits per second."""

    @property
    def framing(self) -> str:
        """Such as ``8N1``."""

    @property
    def line(self) -> Framing:
        """The same as an object."""

    @property
    def handshake(self) -> str:
        """``none``, ``rtscts``, ``dsrdtr`` or ``xonxoff``."""


class Port(Protocol):
    """The part of an open ``serial.Serial`` that polling needs."""

    baudrate: int

    @property
    def in_waiting(self) -> int:
        """Bytes that can be read at once."""

    def read(self, size: int = ..., /) -> bytes:
        """Up to `size` bytes; fewer when none came for `READ_SLICE_S`."""

    def write(self, data: bytes, /) -> int | None:
        """Send bytes."""

    def close(self) -> None:
        """Let go of the port."""


@dataclass(frozen=True, slots=True)
class PortInfo:
    """A serial port of this machine."""

    device: str
    description: str


@dataclass(frozen=True, slots=True)
class Holder:
    """A process that has a port open."""

    pid: int
    name: str

    def __str__(self) -> str:
        return f"{self.name} (process {self.pid})"


def list_ports() -> tuple[PortInfo, ...]:
    """The machine's serial ports, by device name; none is opened."""
    found = sorted(_list_ports.comports(), key=lambda port: str(port.device))
    return tuple(PortInfo(str(port.device), _description(port.description, port.device)) for port in found)


def _description(words: str | None, device: str) -> str:
    return "" if not words or words in ("n/a", device) else words


def holders(path: str) -> tuple[Holder, ...]:
    """Other processes that have `path` open, without opening it.

    Linux only, and only as far as this user may look: elsewhere, or into another user's process, nothing is
    found, and opening the port with an exclusive lock is the remaining check.
    """
    real = os.path.realpath(path)
    found = []
    for process in Path("/proc").glob("[0-9]*"):
        if int(process.name) != os.getpid() and _has_open(process, real):
            found.append(Holder(int(process.name), _process_name(process)))
    return tuple(sorted(found, key=lambda holder: holder.pid))


def _has_open(process: Path, real: str) -> bool:
    try:
        with os.scandir(process / "fd") as descriptors:
            return any(_target(entry.path) == real for entry in descriptors)
    except OSError:
        return False


def _target(link: str) -> str:
    try:
        return os.readlink(link)  # noqa: PTH115  (called for every descriptor of the machine: plain and quick)
    except OSError:
        return ""


def _process_name(process: Path) -> str:
    try:
        return (process / "comm").read_text(encoding="utf-8", errors="replace").strip() or "a program"
    except OSError:
        return "a program"


def open_port(plan: LineSettings) -> Port:
    """Open a plan's port: exclusive, DTR and RTS released, reads in slices of `READ_SLICE_S`.

    Args:
        plan: `port` may be a device or any pyserial URL.

    Raises:
        DeviceError: the port is missing, held by another program, or refuses the settings.
    """
    try:
        port = _closed_port(plan.port)
        _refuse_held(port)
        _configure(port, plan)
        port.open()
    except PORT_ERRORS as why:
        raise DeviceError(_explain(plan, why)) from why
    return port


def _closed_port(url: str) -> serial.Serial:
    port = serial.serial_for_url(url, do_not_open=True)
    if type(port) is serial.Serial and os.name == "posix":
        from telltick.sources.quiet_serial import QuietSerial

        quiet = QuietSerial()
        quiet.port = port.port
        return quiet
    return port


def _refuse_held(port: serial.Serial) -> None:
    path = port.port or ""
    found = holders(path) if path.startswith("/") else ()
    if found:
        raise DeviceError(
            f"{path} is in use by {found[0]}: close that program, or let it poll and record audio alone"
        )


def _configure(port: serial.Serial, plan: LineSettings) -> None:
    port.dtr = False
    port.rts = False
    port.exclusive = True
    port.timeout = READ_SLICE_S
    if isinstance(port, serial.Serial):  # network ports know no such thing
        port.write_timeout = WRITE_TIMEOUT_S
    port.baudrate = plan.baud
    port.bytesize = plan.line.data_bits
    port.parity = plan.line.parity
    port.stopbits = plan.line.stop_bits
    port.rtscts = plan.handshake == "rtscts"
    port.dsrdtr = plan.handshake == "dsrdtr"
    port.xonxoff = plan.handshake == "xonxoff"


def _explain(plan: LineSettings, why: Exception) -> str:
    number = getattr(why, "errno", None)
    match number:
        case errno.ENOENT | errno.ENODEV | errno.ENXIO:
            known = ", ".join(port.device for port in list_ports()) or "none"
            return f"there is no serial port {plan.port}: connect it, or choose one of those found ({known})"
        case errno.EACCES | errno.EPERM:
            return (
                f"no permission to open {plan.port}: add your user to the group that owns it "
                "(ls -l shows it, often dialout), then log in again"
            )
        case errno.EBUSY | errno.EAGAIN:
            return f"{plan.port} is in use by another program: close that program first"
    return f"{plan.port} could not be opened with {plan.baud} baud, {plan.framing}: {why}"
