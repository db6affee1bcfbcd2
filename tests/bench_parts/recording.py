"""A recorder as a process of its own, watched through its session folder as any viewer would."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path

from telltick.model.session import Outcome, Verb
from telltick.store.folder import is_session
from telltick.store.journal import Journal
from telltick.store.session import SessionReader

PATIENCE_S = 60.0
LOOK_EVERY_S = 0.05


def wait_until(holds: Callable[[], bool], what: str) -> None:
    """Wait for a condition; fails with words when it does not come about."""
    pause = threading.Event()
    deadline = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < deadline, f"waited in vain for {what}"
        pause.wait(LOOK_EVERY_S)


class Recording:
    """One ``telltick record`` process; a context manager that ends it."""

    def __init__(self, folder: Path, *options: str, env: Mapping[str, str] | None = None) -> None:
        self.folder = folder
        self.process = subprocess.Popen(
            [sys.executable, "-m", "telltick", "record", *options, "--session", str(folder)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=dict(os.environ if env is None else env),
        )
        self._reader: SessionReader | None = None

    def __enter__(self) -> Recording:
        wait_until(lambda: is_session(self.folder) or self.process.poll() is not None, "a session")
        assert is_session(self.folder), self.finish()
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.communicate()
        if self._reader is not None:
            self._reader.close()

    @property
    def reader(self) -> SessionReader:
        """The session as it stands now."""
        if self._reader is None:
            self._reader = SessionReader(self.folder)
        self._reader.refresh()
        return self._reader

    @property
    def seconds(self) -> float:
        """Audio so far."""
        return self.reader.audio.samples / self.reader.facts.rate_hz

    def wait_for(self, holds: Callable[[SessionReader], bool], what: str) -> SessionReader:
        """Wait until the session says something."""
        wait_until(lambda: holds(self.reader), what)
        return self.reader

    def wait_for_polls(self, more: int) -> SessionReader:
        """Wait until that many more polls have been made."""
        wanted = len(self.reader.polls) + more
        return self.wait_for(lambda now: len(now.polls) >= wanted, f"{more} more polls")

    def ask(self, verb: Verb, value: str = "") -> Outcome:
        """Ask for something and wait for its outcome."""
        with Journal.open(self.folder) as journal:
            number = journal.add_request(0, verb, value).number

        def answers(now: SessionReader) -> list[Outcome]:
            return [outcome for outcome in now.outcomes if outcome.request == number]

        return answers(self.wait_for(lambda now: bool(answers(now)), f"an answer to {verb}"))[0]

    def send(self, number: signal.Signals) -> None:
        """Send a signal."""
        self.process.send_signal(number)

    def finish(self) -> tuple[int, str, str]:
        """Wait for the end; returns exit code, output and errors."""
        out, err = self.process.communicate(timeout=PATIENCE_S)
        return self.process.returncode, out, err
