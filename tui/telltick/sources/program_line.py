"""The end of a bridge that a station program opens as if it were the radio: a pseudo-terminal with a name."""

from __future__ import annotations

import contextlib
import os
import select
import termios
import tty
from collections.abc import Callable
from pathlib import Path

from telltick.model.errors import BadInputError
from telltick.sources.program_end import LineWish
from telltick.sources.pty_rate import BAUD_OF, line_baud

IFLAG, OFLAG, CFLAG, LFLAG, ISPEED, OSPEED = range(6)  # of what termios.tcgetattr returns
CONSTANT_OF = {baud: getattr(termios, f"B{baud}") for baud in BAUD_OF.values()}
MOST_BYTES = 4096


class ProgramLine:
    """A pseudo-terminal under a stable name.

    Bytes pass unmodified. The system keeps a pseudo-terminal's settings from one program to the next;
    whatever a program leaves behind (echo, unread bytes, a claim to have it alone) is cleared when it
    closes. Data bits, parity and control lines do nothing on a pseudo-terminal: a program can key no
    transmitter by them.
    """

    def __init__(self, link: Path, baud: int, stop_bits: int = 1) -> None:
        """Make the pseudo-terminal and its name.

        Args:
            link: the name; may be the left-over link of a bridge before.
            baud: the rate until a program chooses one.
            stop_bits: as many until a program chooses.

        Raises:
            BadInputError: the name is taken by something else, or cannot be made.
        """
        self.take_line: Callable[[LineWish], bool] | None = None  # there is no way to tell of a refusal
        self.tell: Callable[[str, str], None] = lambda *_: None
        self._link = link
        self._baud = baud
        self._first_stop_bits = stop_bits
        _refuse_taken(link)
        self.fd, self.path = self._make()
        try:
            _point(link, self.path)
        except OSError as why:
            os.close(self.fd)
            raise BadInputError(f"the bridge cannot be named {link} ({why.strerror or why})") from why

    def _make(self) -> tuple[int, str]:
        try:
            fd, far = os.openpty()
        except OSError as why:
            raise BadInputError(f"the system has no pseudo-terminal to give ({why.strerror or why})") from why
        tty.setraw(far)
        settings = termios.tcgetattr(far)
        settings[ISPEED] = settings[OSPEED] = CONSTANT_OF.get(self._baud, termios.B9600)
        if self._first_stop_bits == 2:
            settings[CFLAG] |= termios.CSTOPB
        termios.tcsetattr(far, termios.TCSANOW, settings)
        path = os.ttyname(far)
        os.close(far)
        os.set_blocking(fd, False)
        return fd, path

    def close(self) -> None:
        """Take the pseudo-terminal and its name away; a program that has it open is hung up on."""
        if self.fd >= 0:
            if self.named:
                with contextlib.suppress(OSError):
                    self._link.unlink()
            os.close(self.fd)
            self.fd = -1

    # ---- what the program does

    @property
    def line(self) -> LineWish:
        """Rate and stop bits as the program wants them."""
        return LineWish(self.baud, self.stop_bits)

    @property
    def pending(self) -> bool:
        """Nothing waits in here; the system's own buffer takes what it has room for."""
        return False

    def tend(self) -> None:
        """Nothing is to be done."""

    @property
    def named(self) -> bool:
        """The name still leads here."""
        try:
            return str(self._link.readlink()) == self.path
        except OSError:
            return False

    def name_again(self) -> bool:
        """Give a name that was deleted anew; False when it leads somewhere else by now."""
        if not os.path.lexists(self._link):
            with contextlib.suppress(OSError):
                _point(self._link, self.path)
        return self.named

    @property
    def baud(self) -> int:
        """The rate that the program chose; the last real one when it chose 0 to hang up."""
        self._baud = line_baud(self.fd, self._baud)
        return self._baud

    @property
    def stop_bits(self) -> int:
        """1 or 2, as the program chose."""
        return 2 if termios.tcgetattr(self.fd)[CFLAG] & termios.CSTOPB else 1

    @property
    def there(self) -> bool:
        """A program has it open, or has left bytes that are not read yet."""
        look = select.poll()
        look.register(self.fd, select.POLLIN)
        events = dict(look.poll(0)).get(self.fd, 0)
        return not events & select.POLLHUP or bool(events & select.POLLIN)

    def read(self) -> bytes | None:
        """What the program has written; None when it is gone and has left nothing."""
        try:
            return os.read(self.fd, MOST_BYTES)
        except BlockingIOError:
            return b""
        except OSError:
            return None

    def write(self, data: bytes | bytearray) -> int:
        """Give bytes to the program; returns how many it has room for."""
        try:
            self._silence_echo()
            return os.write(self.fd, data)
        except (OSError, termios.error):
            return 0

    def _silence_echo(self) -> None:
        """An echo would send the radio's own bytes back to the radio."""
        settings = termios.tcgetattr(self.fd)
        if settings[LFLAG] & termios.ECHO:
            settings[LFLAG] &= ~(termios.ECHO | termios.ECHONL)
            termios.tcsetattr(self.fd, termios.TCSANOW, settings)

    # ---- between programs

    def clear(self) -> None:
        """Forget what the program left behind; the rate stays."""
        try:
            far = os.open(self.path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        except OSError:  # it had claimed the line for itself, and the system remembers
            self._replace()
            return
        with contextlib.suppress(OSError, termios.error):
            tty.setraw(far, termios.TCSANOW)
            termios.tcflush(far, termios.TCIOFLUSH)
        os.close(far)

    def _replace(self) -> None:
        named = self.named
        with contextlib.suppress(BadInputError, OSError):
            fd, path = self._make()
            os.close(self.fd)
            self.fd, self.path = fd, path
            if named:
                _point(self._link, self.path)


def _refuse_taken(link: Path) -> None:
    if not link.parent.is_dir():
        raise BadInputError(f"there is no folder {link.parent} for the bridge's name {link.name}")
    if link.is_symlink():
        target = str(link.readlink())
        if not target.startswith("/dev/pts/"):
            raise BadInputError(f"{link} is a link to {target}; choose another name for the bridge")
    elif os.path.lexists(link):
        raise BadInputError(f"{link} exists already; choose another name for the bridge")


def _point(link: Path, path: str) -> None:
    """Make or move a link in one go."""
    draft = link.with_name(f".{link.name}.{os.getpid()}")
    draft.unlink(missing_ok=True)
    draft.symlink_to(path)
    draft.replace(link)
