"""A terminal multiplexer that a test types into, as a person would: keys in, a picture out."""

from __future__ import annotations

import shlex
import shutil
import subprocess
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

PATIENCE_S = 120.0
ROOT = Path(__file__).parent.parent.parent


class Tmux:
    """One window of a server of its own; a context manager.

    What is drawn next cannot be waited for, only looked for: `until` looks ten times a second.
    """

    def __init__(self, command: Sequence[str], *, width: int, height: int, environ: dict[str, str]) -> None:
        """Start a command in a window.

        Args:
            command: its words.
            width: in cells.
            height: in cells.
            environ: set for the command.
        """
        if shutil.which("tmux") is None:
            pytest.skip("tmux is not installed")
        self._socket = f"telltick-{id(self):x}"
        words = " ".join(f"{name}={shlex.quote(value)}" for name, value in environ.items())
        run = f"env -u COLUMNS -u LINES {words} {shlex.join(command)}"  # the window has a size of its own
        line = f"cd {shlex.quote(str(ROOT))}; {run}; echo left with $?; read -r _"
        size = ["-x", str(width), "-y", str(height)]
        self._do("-f", "/dev/null", "new-session", "-d", "-s", "bench", *size, line)

    def __enter__(self) -> Tmux:
        return self

    def __exit__(self, *_: object) -> None:
        subprocess.run(["tmux", "-L", self._socket, "kill-server"], check=False, capture_output=True)

    def key(self, *names: str) -> None:
        """Press keys by the names the multiplexer gives them."""
        self._do("send-keys", "-t", "bench", *names)

    def type(self, text: str) -> None:
        """Type characters as they are."""
        self._do("send-keys", "-t", "bench", "-l", text)

    def resize(self, width: int, height: int) -> None:
        self._do("resize-window", "-t", "bench", "-x", str(width), "-y", str(height))

    def picture(self) -> str:
        """What stands on the screen."""
        return self._do("capture-pane", "-p", "-t", "bench")

    def until(self, shows: str | Callable[[str], object]) -> str:
        """Look until the screen shows something; returns the picture."""
        deadline = time.monotonic() + PATIENCE_S
        while True:
            picture = self.picture()
            if shows in picture if isinstance(shows, str) else shows(picture):
                return picture
            assert time.monotonic() < deadline, f"never shown: {shows}; on screen:\n{picture}"
            time.sleep(0.1)

    def _do(self, *words: str) -> str:
        done = subprocess.run(
            ["tmux", "-L", self._socket, *words], check=True, capture_output=True, text=True, timeout=20
        )
        return done.stdout
