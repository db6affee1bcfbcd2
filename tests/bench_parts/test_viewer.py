"""Viewers come and go on real terminals; the recorder does not care."""

from __future__ import annotations

import os
import signal
import sys

import pytest

from telltick.model.marks import MarkKind
from telltick.store.folder import is_session
from telltick.store.journal import Journal
from telltick.store.lock import held, holder
from telltick.store.session import SessionReader
from tests.bench_parts.recording import PATIENCE_S, wait_until

pexpect = pytest.importorskip("pexpect")
pytestmark = pytest.mark.bench_part


class Viewer:
    """A telltick on a terminal of its own."""

    def __init__(self, *arguments: object) -> None:
        self._child = pexpect.spawn(
            sys.executable,
            ["-m", "telltick", *map(str, arguments)],
            dimensions=(40, 120),
            timeout=PATIENCE_S,
            env={**os.environ, "TERM": "xterm-256color"},
        )
        self.said = b""

    def press(self, key: str) -> None:
        self._child.send(key)

    def read(self) -> None:
        """Take what the screen has drawn, so that the terminal never stalls."""
        try:
            self.said += self._child.read_nonblocking(65_536, timeout=0)
        except (pexpect.TIMEOUT, pexpect.EOF):
            return

    def wait(self, holds, what: str) -> None:
        def look() -> bool:
            self.read()
            return bool(holds())

        wait_until(look, what)

    def leave(self) -> int:
        """Wait for its end; returns the exit code."""
        self.wait(lambda: not self._child.isalive(), "the viewer to leave")
        self.read()
        self._child.close()
        return self._child.exitstatus

    def send(self, number: signal.Signals) -> None:
        self._child.kill(number)

    def hang_up(self) -> None:
        """Take the terminal away."""
        os.close(self._child.child_fd)
        self._child.closed = True
        self._child.child_fd = -1

    def __enter__(self) -> Viewer:
        return self

    def __exit__(self, *_: object) -> None:
        if self._child.child_fd != -1:
            self._child.close(force=True)


@pytest.fixture
def folder(tmp_path):
    """Where the demo records; whatever happens, its recorder is asked to end."""
    place = tmp_path / "session"
    yield place
    if is_session(place) and held(place):
        with Journal.open(place) as journal:
            journal.add_request(0, "finish")
        wait_until(lambda: not held(place), "the recorder to end")


def samples(folder) -> int:
    if not is_session(folder):
        return 0
    with SessionReader(folder) as reader:
        return reader.audio.samples


def ending(folder) -> str:
    with SessionReader(folder) as reader:
        return reader.ending.how if reader.ending else ""


def test_a_recorder_outlives_its_viewer_is_joined_again_and_ends_when_asked(folder):
    with Viewer("demo", "--session", folder, "--seed", 3) as first:
        first.wait(lambda: samples(folder) > 48_000, "audio")
        recorder = holder(folder)
        first.send(signal.SIGKILL)
    before = samples(folder)
    wait_until(lambda: samples(folder) > before + 48_000, "the recording to go on")
    with Viewer("monitor", "--join", folder) as second:
        second.wait(lambda: "journal" in second.said.decode("utf-8", "replace"), "the screen")
        assert holder(folder) == recorder
        second.press("x")
        second.wait(lambda: marks_in(folder) == [MarkKind.PLAIN], "the mark")
        second.press("q")
        second.wait(lambda: "stop and save" in second.said.decode("utf-8", "replace"), "the question")
        second.press("s")
        assert second.leave() == 0
        assert "the recording ends" in second.said.decode("utf-8", "replace")
    wait_until(lambda: not held(folder), "the recorder to end")
    assert ending(folder) == "requested"


def test_a_viewer_can_leave_the_recording_running(folder):
    with Viewer("demo", "--session", folder, "--seconds", 600) as viewer:
        viewer.wait(lambda: samples(folder) > 48_000, "audio")
        viewer.press("q")
        viewer.wait(lambda: "stop and save" in viewer.said.decode("utf-8", "replace"), "the question")
        viewer.press("l")
        assert viewer.leave() == 0
        assert f"monitor --join {folder}" in viewer.said.decode("utf-8", "replace").replace("\r\n", "")
    assert held(folder)


def test_a_terminal_that_goes_away_takes_only_the_viewer_with_it(folder):
    with Viewer("demo", "--session", folder) as viewer:
        viewer.wait(lambda: samples(folder) > 48_000, "audio")
        viewer.press("a")
        viewer.wait(lambda: marks_in(folder) == [MarkKind.CHANGE], "hands on")
        viewer.hang_up()
    wait_until(lambda: marks_in(folder) == [MarkKind.PLAIN], "the change to become a plain mark")
    before = samples(folder)
    wait_until(lambda: samples(folder) > before + 48_000, "the recording to go on")
    assert held(folder)


def marks_in(folder) -> list[MarkKind]:
    with SessionReader(folder) as reader:
        return [mark.kind for mark in reader.marks]
