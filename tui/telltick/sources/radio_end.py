"""The real port of a bridge, read and written without ever waiting for it."""

from __future__ import annotations

import contextlib
import os
import socket
import threading
import time
from typing import Any

from telltick.sources.program_end import LineWish
from telltick.sources.serial_port import PORT_ERRORS, Port

MOST_BYTES = 4096
DRAIN_S = 0.5


class RadioEnd:
    """An open port as a descriptor to poll. Any call may raise one of `PORT_ERRORS` when the port is lost."""

    def __init__(self, port: Any) -> None:
        """Take over an open port."""
        self._port = port
        self._pump: _Pump | None = None
        try:
            self.fd: int = port.fileno()
            os.set_blocking(self.fd, False)
        except (OSError, ValueError, AttributeError):  # a network port, or one made of software
            self._pump = _Pump(port)
            self.fd = self._pump.fd

    def close(self) -> None:
        """Let go of the port."""
        if self._pump is not None:
            self._pump.close()
        self._port.close()

    def read(self) -> bytes:
        """What has come, after the descriptor was said to be readable.

        Raises:
            OSError: the port is gone.
        """
        try:
            data = os.read(self.fd, MOST_BYTES)
        except BlockingIOError:
            return b""
        if not data:
            raise OSError("the port is readable and holds nothing: it was unplugged")
        return data

    def write(self, data: bytes | bytearray) -> int:
        """Hand bytes to the port; returns how many it took."""
        try:
            return os.write(self.fd, data)
        except BlockingIOError:
            return 0

    @property
    def baud(self) -> int:
        """Bits per second."""
        return int(self._port.baudrate)

    def set_line(self, line: LineWish) -> None:
        """Change rate and framing once what was handed over is on the line.

        Raises:
            OSError, ValueError, termios.error: the port refuses; it then keeps what it had.
        """
        wanted: dict[str, Any] = {"baudrate": line.baud, "stopbits": line.stop_bits}
        if line.data_bits is not None and line.parity is not None:
            wanted |= {"bytesize": line.data_bits, "parity": line.parity}
        before = {name: getattr(self._port, name) for name in wanted}
        if wanted == before:
            return
        self._drain()
        try:
            self._set(wanted)
        except PORT_ERRORS:
            with contextlib.suppress(*PORT_ERRORS):
                self._set(before)
            raise

    def _set(self, settings: dict[str, Any]) -> None:
        for name, value in settings.items():
            if getattr(self._port, name) != value:
                setattr(self._port, name, value)

    def _drain(self) -> None:
        give_up = time.monotonic() + DRAIN_S
        with contextlib.suppress(OSError, ValueError, AttributeError, NotImplementedError):
            while self._port.out_waiting and time.monotonic() < give_up:
                time.sleep(0.001)


class _Pump:
    """Carries bytes between a port that has no descriptor and a pair of sockets that has."""

    def __init__(self, port: Port) -> None:
        self._port = port
        self._ours, self._theirs = socket.socketpair()
        self._ours.setblocking(False)
        self.fd = self._ours.fileno()
        self._closing = False
        self._threads = [
            threading.Thread(target=work, name=f"bridge {name}", daemon=True)
            for name, work in (("in", self._carry_in), ("out", self._carry_out))
        ]
        for thread in self._threads:
            thread.start()

    def close(self) -> None:
        self._closing = True
        self._shut()
        for thread in self._threads:
            thread.join(timeout=1.0)
        self._ours.close()
        self._theirs.close()

    def _shut(self) -> None:
        for end in (self._ours, self._theirs):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def _carry_in(self) -> None:
        with contextlib.suppress(*PORT_ERRORS):
            while not self._closing:
                data = self._port.read(1)
                if data:
                    self._theirs.sendall(data + self._port.read(self._port.in_waiting))
        self._shut()

    def _carry_out(self) -> None:
        with contextlib.suppress(*PORT_ERRORS):
            while data := self._theirs.recv(MOST_BYTES):
                self._port.write(data)
        self._shut()
