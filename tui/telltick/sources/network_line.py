"""The end of a bridge that a station program opens over TCP, by the telnet com port option of RFC 2217.

Bytes pass unmodified: telnet's own are taken out and doubled as RFC 854 wants it. Rate and framing that the
program chooses are passed on. Its wishes for control lines are acknowledged, as many programs do not open
without, and never carried out: a line that keys a transmitter is not raised from here.
"""

from __future__ import annotations

import contextlib
import socket
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from serial.rfc2217 import IAC, PortManager

from telltick.model.errors import BadInputError
from telltick.sources.program_end import LineWish

MOST_BYTES = 4096
MOST_QUEUED = 65_536
MOST_SUBOPTION = 64  # the longest of RFC 2217 that we answer has 6 bytes; a signature is read over
MOST_UNREAD = 4 * MOST_QUEUED  # what is queued for the program, each byte doubled, and as much in answers
RATES = (50, 4_000_000)  # bits per second
NOT_UNDERSTOOD = "program not understood"
KEPT_LOW = "control lines kept low"


class NetworkLine:
    """One TCP port, one program at a time; others are turned away."""

    def __init__(self, address: str, port: int, line: LineWish) -> None:
        """Listen.

        Args:
            address: of this machine; the loopback address unless others are to reach it.
            port: TCP port; 0 takes any that is free.
            line: the line until a program chooses another.

        Raises:
            BadInputError: the address or the port cannot be had.
        """
        self.fd = -1
        self.take_line: Callable[[LineWish], bool] | None = None
        self.tell: Callable[[str, str], None] = lambda *_: None
        self._line = line
        self._client: socket.socket | None = None
        self._manager: Any = None
        self._out = bytearray()
        self._told: set[str] = set()
        try:
            self._listener = socket.create_server((address, port), backlog=4)
        except (OSError, OverflowError) as why:
            words = getattr(why, "strerror", None) or why
            raise BadInputError(
                f"the bridge cannot listen on {address} port {port} ({words}): choose another port"
            ) from why
        self._listener.setblocking(False)

    @property
    def port(self) -> int:
        """The TCP port it listens on."""
        return int(self._listener.getsockname()[1])

    # ---- the program comes and goes

    @property
    def there(self) -> bool:
        """A program is connected; one that knocks is let in."""
        if self._client is None:
            with contextlib.suppress(OSError):
                self._let_in(self._listener.accept()[0])
        return self._client is not None

    def _let_in(self, client: socket.socket) -> None:
        client.setblocking(False)
        for level, option in (
            (socket.IPPROTO_TCP, socket.TCP_NODELAY),
            (socket.SOL_SOCKET, socket.SO_KEEPALIVE),
        ):
            with contextlib.suppress(OSError):
                client.setsockopt(level, option, 1)
        self._client, self.fd = client, client.fileno()
        self._out.clear()
        self._told.clear()
        wishes: Any = _Wishes(self)
        answers: Any = _Queue(self._out)
        self._manager = PortManager(wishes, answers)
        self._send()

    def tend(self) -> None:
        """Turn others away while a program is there, and send what waits."""
        if self._client is None:
            return
        with contextlib.suppress(OSError):
            self._listener.accept()[0].close()
            self.tell("second program", "one more program wanted to open the bridge and was turned away")
        self._send()

    def clear(self) -> None:
        """Hang up on a program that has closed."""
        client, self._client, self.fd = self._client, None, -1
        self._manager = None
        self._out.clear()
        if client is not None:
            client.close()

    def name_again(self) -> bool:
        """A port stays where it is."""
        return True

    def close(self) -> None:
        """Hang up, and listen no more."""
        self.clear()
        self._listener.close()

    # ---- bytes

    @property
    def pending(self) -> bool:
        """Bytes wait until the program takes more."""
        return bool(self._out)

    def read(self) -> bytes | None:
        """What the program has written; None when it is gone."""
        if self._client is None:
            return None
        try:
            data = self._client.recv(MOST_BYTES)
        except BlockingIOError:
            return b""
        except OSError:
            return None
        if not data:
            return None
        try:
            passed = b"".join(self._manager.filter(data))
        except (LookupError, TypeError, ValueError, OverflowError) as why:  # nonsense in a telnet command
            self.tell(NOT_UNDERSTOOD, f"it does not speak RFC 2217 as written ({why!r}): hung up on")
            return None
        self._send()
        excess = self._excess()
        if excess:
            self.tell(NOT_UNDERSTOOD, f"{excess}: hung up on")
            return None
        return passed

    def _excess(self) -> str:
        """What the program makes us hold beyond all measure; empty while it does not."""
        if len(self._manager.suboption or b"") > MOST_SUBOPTION:
            return "it began a telnet option and did not end it"
        if len(self._out) > MOST_UNREAD:
            return f"it asks on and reads no answers, of which {len(self._out)} bytes wait"
        return ""

    def write(self, data: bytes | bytearray) -> int:
        """Give bytes to the program; returns how many were taken."""
        taken = data[: max(MOST_QUEUED - len(self._out), 0)]
        self._out += bytes(taken).replace(IAC, IAC + IAC)
        self._send()
        return len(taken)

    def _send(self) -> None:
        if self._client is not None and self._out:
            with contextlib.suppress(OSError):  # a program that is gone is noticed when it is read
                del self._out[: self._client.send(self._out)]

    # ---- the line

    @property
    def line(self) -> LineWish:
        """The line as the program wants it."""
        return self._line

    def choose(self, **wish: Any) -> None:
        """Take a wish of the program.

        Raises:
            ValueError: it was refused; the program is told what holds instead.
        """
        line = replace(self._line, **wish)
        if line != self._line and self.take_line is not None and not self.take_line(line):
            raise ValueError("the port refuses")
        self._line = line

    def checked_rate(self, baud: int) -> int:
        """A rate that the program wants, if any port could have it.

        Raises:
            ValueError: none can; the program is told what holds instead.
        """
        low, high = RATES
        if not low <= baud <= high:
            self.tell("baud refused", f"the program asked for {baud} baud: no rate of {low} to {high}")
            raise ValueError("no such rate")
        return baud

    def keep_low(self, what: str) -> None:
        """Say once that a wish for a control line was not carried out."""
        if what not in self._told:
            self._told.add(what)
            self.tell(
                KEPT_LOW, f"the program asked for {what}, which is not passed on: it may key a transmitter"
            )


class _Queue:
    """Where the protocol's answers go: before what comes after them, behind what came before."""

    def __init__(self, out: bytearray) -> None:
        self._out = out

    def write(self, data: bytes) -> None:
        self._out += data


class _Wishes:
    """The serial port that the protocol believes to be setting; every setting is a wish."""

    cts = dsr = ri = cd = False

    def __init__(self, end: NetworkLine) -> None:
        object.__setattr__(self, "_end", end)

    def __getattr__(self, name: str) -> Any:
        line = self._end.line
        shown = {
            "baudrate": line.baud,
            "bytesize": line.data_bits,
            "parity": line.parity,
            "stopbits": line.stop_bits,
            "xonxoff": False,
            "rtscts": False,
        }
        if name not in shown:
            raise AttributeError(name)
        return shown[name]

    def __setattr__(self, name: str, value: Any) -> None:
        match name:
            case "baudrate":
                self._end.choose(baud=self._end.checked_rate(int(value)))
            case "bytesize":
                self._end.choose(data_bits=int(value))
            case "parity":
                self._end.choose(parity=str(value))
            case "stopbits":
                self._end.choose(stop_bits=_whole(value))
            case "dtr" | "rts" if value:
                self._end.keep_low(name.upper())
            case "rtscts" if value:
                self._end.keep_low("RTS")
            case "break_condition" if value:
                self._end.keep_low("a break")

    def reset_input_buffer(self) -> None:
        """What is on its way to the program arrives."""

    def reset_output_buffer(self) -> None:
        """What is on its way to the radio arrives."""


def _whole(stop_bits: float) -> int:
    if stop_bits not in (1, 2):
        raise ValueError("1 or 2 stop bits")
    return int(stop_bits)
