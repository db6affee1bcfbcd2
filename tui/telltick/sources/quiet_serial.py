"""A POSIX serial port whose control lines are raised at open for as short a time as the system allows.

The one place that touches private corners of pyserial.
"""

from __future__ import annotations

import contextlib
import fcntl
import struct
import termios

import serial


class QuietSerial(serial.Serial):
    """Drops DTR and RTS as the very first thing after the system's own ``open`` raised them.

    Stock pyserial configures the line first. Dropping them before that shortened the pulse to 0.3-0.6 ms on a
    Linux system.
    """

    def _reconfigure_port(self, force_update: bool = False) -> None:
        if force_update:  # that is, while the port is being opened
            self._control(termios.TIOCMBIC, struct.pack("I", self._lines_to_drop()))
        super()._reconfigure_port(force_update)  # type: ignore[misc]  # private, so its stubs leave it out

    def _lines_to_drop(self) -> int:
        """Both, but for a line that the chosen handshake needs."""
        drop_dtr = 0 if self.dsrdtr else termios.TIOCM_DTR
        drop_rts = 0 if self.rtscts else termios.TIOCM_RTS
        return drop_dtr | drop_rts

    def open(self) -> None:
        """Open, and keep every other program from opening the port while it is held."""
        super().open()
        self._control(termios.TIOCEXCL)

    def close(self) -> None:
        """Close, and let others open the port again."""
        if self.is_open:
            self._control(termios.TIOCNXCL)
        super().close()

    def _control(self, request: int, argument: bytes = b"") -> None:
        assert self.fd is not None  # not fileno(): while the port is being opened it does not count as open
        with contextlib.suppress(OSError):  # a pseudo-terminal has no control lines
            fcntl.ioctl(self.fd, request, argument)
