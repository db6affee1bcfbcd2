"""A terminal at the other end of a real pseudo-terminal: slow, stalled or gone at will."""

from __future__ import annotations

import contextlib
import fcntl
import os
import pty
import re
import select
import signal
import struct
import termios
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from tests.ui.paper import Glass

IGNORABLE = (signal.SIGHUP, signal.SIGINT, signal.SIGQUIT, signal.SIGPIPE)
QUESTION = re.compile(rb"\x1b\[(\d+);(\d+)H\x1b\[6n")
ROOT = Path(__file__).parent.parent.parent


class Terminal:
    """Runs a program, reads what it writes as fast as told, and answers where the cursor is."""

    def __init__(
        self,
        command: Sequence[str],
        *,
        width: int = 120,
        height: int = 40,
        bytes_per_s: float | None = None,
        answering: bool = True,
    ) -> None:
        """Start the program.

        Args:
            command: words of the command line.
            width: in cells.
            height: in cells.
            bytes_per_s: how fast it reads; None reads at once.
            answering: it answers questions for the cursor.
        """
        self.width, self.height = width, height
        self.bytes_per_s = bytes_per_s
        self.answering = answering
        self.read: list[tuple[float, bytes]] = []  # (monotonic time, what was read then)
        self.asked: list[float] = []  # when each question was read
        self._flowing = threading.Event()
        self._flowing.set()
        self._open = True
        self._exit: tuple[float, int] | None = None
        self._gone = threading.Event()
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            _become(command)
        fcntl.ioctl(self.fd, termios.TIOCSWINSZ, struct.pack("HHHH", height, width, 0, 0))
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        threading.Thread(target=self._wait, daemon=True).start()

    # ---- hands

    def send(self, keys: str) -> None:
        os.write(self.fd, keys.encode())

    def stall(self) -> None:
        """Read nothing more, like a terminal whose output was stopped."""
        self._flowing.clear()

    def go_on(self) -> None:
        self._flowing.set()

    def hang_up(self) -> float:
        """Close the line; returns when."""
        self._open = False
        self._flowing.set()
        self._reader.join(5)
        at = time.monotonic()
        os.close(self.fd)
        self.fd = -1
        return at

    def close(self) -> None:
        """End the program if it still runs."""
        if self.fd >= 0:
            self.hang_up()
        if not self._gone.wait(3):
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.pid, signal.SIGKILL)
            self._gone.wait(5)

    def __enter__(self) -> Terminal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # ---- eyes

    @property
    def total(self) -> int:
        """Bytes read so far."""
        return sum(len(data) for _, data in self.read)

    def text(self) -> str:
        """What stands on the screen."""
        glass = Glass(self.width, self.height)
        glass.draw_on(b"".join(data for _, data in list(self.read)).decode("utf-8", "replace"))
        return glass.text()

    def exited(self, timeout_s: float) -> float | None:
        """When the program ended; None when it still runs after `timeout_s`."""
        return self._exit[0] if self._gone.wait(timeout_s) and self._exit else None

    def until(self, holds: Callable[[Terminal], object], timeout_s: float = 60.0) -> None:
        """Wait for something to hold."""
        deadline = time.monotonic() + timeout_s
        while not holds(self):
            if time.monotonic() > deadline:
                raise AssertionError(f"it never held; on the terminal:\n{self.text()}")
            time.sleep(0.05)

    # ---- within

    def _read(self) -> None:
        tail = b""
        while self._open:
            if not self._flowing.wait(0.1):
                continue
            if not select.select([self.fd], [], [], 0.1)[0]:
                continue
            most = 65536 if self.bytes_per_s is None else max(int(self.bytes_per_s / 20), 1)
            try:
                data = os.read(self.fd, most)
            except OSError:
                return
            if self.bytes_per_s is not None:
                time.sleep(len(data) / self.bytes_per_s)
            self.read.append((time.monotonic(), data))
            tail = self._answer(tail + data)

    def _answer(self, data: bytes) -> bytes:
        """Answer every question in what was read; returns what may be the beginning of one."""
        end = 0
        for question in QUESTION.finditer(data):
            end = question.end()
            self.asked.append(time.monotonic())
            if self.answering:
                with contextlib.suppress(OSError):
                    os.write(self.fd, b"\x1b[%s;%sR" % question.groups())
        return data[end:][-16:]

    def _wait(self) -> None:
        _, status = os.waitpid(self.pid, 0)
        self._exit = time.monotonic(), status
        self._gone.set()


def _become(command: Sequence[str]) -> None:
    # What we ignore (under nohup, say) programs inherit; an ssh that ignores a hang-up keeps its link alive.
    for number in IGNORABLE:
        signal.signal(number, signal.SIG_DFL)
    os.environ.update(TERM="xterm-256color", LANG="C.UTF-8", LC_ALL="C.UTF-8")
    for name in ("COLORTERM", "NO_COLOR", "TMUX", "TERM_PROGRAM"):
        os.environ.pop(name, None)
    os.chdir(ROOT)
    try:
        os.execvp(command[0], list(command))
    finally:
        os._exit(127)
