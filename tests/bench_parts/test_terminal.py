"""The terminal can do what it likes: hang up, stall, crawl, be gone. The recorder does not notice."""

from __future__ import annotations

import itertools
import os
import re
import signal
import termios
import time
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest

from telltick.engine.marking import Marker
from telltick.model.marks import MarkKind
from telltick.model.session import Verb
from telltick.store.lock import held
from telltick.store.session import SessionReader
from tests.bench_parts.loopback_ssh import LoopbackSsh, missing_part, python
from tests.bench_parts.recording import wait_until
from tests.bench_parts.terminal import ROOT, Terminal

pytestmark = pytest.mark.bench_part

LEAVE_S = 0.5 * 4  # the promise, and room for a machine that is busy with other tests
FRESH_S = 1.0 * 4
LINES = termios.ICANON | termios.ECHO | termios.ISIG
STALL_S = 20.0
CLOCK = re.compile(r"RECORDING .*?(\d+):(\d\d):(\d\d) ")
SHORT_SILENCE = (
    "import sys; from telltick import cli; from telltick.ui.pacing import Pacer;"
    "Pacer.__init__.__kwdefaults__['silence_limit_s'] = 3.0; sys.exit(cli.main(sys.argv[1:]))"
)


class Hut:
    """A session that a demo's recorder writes."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.demo = ["demo", "--session", str(folder), "--seed", "7"]
        self.join = ["monitor", "--join", str(folder)]

    def seconds(self) -> float:
        with SessionReader(self.folder) as reader:
            return reader.audio.samples / reader.facts.rate_hz

    def unharmed(self, since: tuple[float, float]) -> None:
        """Assert that sound and polls came all the time since then, without a gap.

        Args:
            since: monotonic time and seconds of audio then.
        """
        wait_until(lambda: self.seconds() > since[1] + 1, "more sound")
        with SessionReader(self.folder) as reader:
            audio_s = reader.audio.samples / reader.facts.rate_hz
            assert audio_s - since[1] == pytest.approx(time.monotonic() - since[0], abs=1.5)
            assert reader.gaps == ()
            assert reader.ending is None
            begun_s = [poll.sent_ns / 1e9 for poll in reader.polls]
            assert max(b - a for a, b in itertools.pairwise(begun_s)) < 1.0
        assert held(self.folder)

    def now(self) -> tuple[float, float]:
        return time.monotonic(), self.seconds()

    def viewers(self) -> list[int]:
        """Processes that show this session."""
        pids = []
        for path in Path("/proc").glob("[0-9]*/cmdline"):
            try:
                words = path.read_bytes().split(b"\0")
            except OSError:
                continue
            if str(self.folder).encode() in words and b"record" not in words and b"telltick" in words:
                pids.append(int(path.parent.name))
        return pids


@pytest.fixture
def hut(tmp_path: Path) -> Iterator[Hut]:
    hut = Hut(tmp_path / "hut")
    yield hut
    if held(hut.folder):
        Marker(hut.folder, lambda: 0, late=False).ask(Verb.FINISH)
        wait_until(lambda: not held(hut.folder), "the recorder's end")


@pytest.fixture
def ssh(tmp_path: Path) -> Iterator[LoopbackSsh]:
    missing = missing_part()
    if missing is not None:
        pytest.skip(f"no sshd of our own on this machine: it lacks {missing}")
    keys = tmp_path / "keys"
    keys.mkdir(mode=0o700)
    with LoopbackSsh(keys) as daemon:
        yield daemon


def telltick(*words: str) -> list[str]:
    return python("-m", "telltick", *words)


def recording(terminal: Terminal) -> bool:
    text = terminal.text()
    return (
        "RECORDING" in text
        and "recorder alive" in text
        and not any(words in text for words in ("waiting for audio", "a few seconds more"))
    )


def set_for_lines(fd: int) -> None:
    """Set a terminal as shells leave it to programs that take lines."""
    line = termios.tcgetattr(fd)
    line[tty.LFLAG] |= LINES
    termios.tcsetattr(fd, termios.TCSANOW, line)


def behind_s(terminal: Terminal, hut: Hut) -> float:
    """How far the clock on the glass is behind the recorded sound."""
    shown = CLOCK.search(terminal.text())
    assert shown is not None, terminal.text()
    hours, minutes, seconds = map(int, shown.groups())
    return hut.seconds() - (3600 * hours + 60 * minutes + seconds)


def test_a_hang_up_ends_the_screen_at_once_and_nothing_else(hut):
    with Terminal(telltick(*hut.demo)) as terminal:
        terminal.until(recording)
        since = hut.now()
        terminal.send("xa")  # a mark, and a change that is left open
        terminal.until(lambda t: "HANDS ON antenna" in t.text())
        hung_up = terminal.hang_up()
        gone = terminal.exited(30)
        assert gone is not None
        assert gone - hung_up <= LEAVE_S
    hut.unharmed(since)
    with SessionReader(hut.folder) as reader:
        assert [mark.kind for mark in reader.marks if mark.t_ns > 1e9][-2:] == [MarkKind.PLAIN] * 2
    with Terminal(telltick(*hut.join)) as again:
        again.until(recording)
        again.until(lambda t: behind_s(t, hut) < 2)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_ends_the_screen_and_leaves_the_recorder(hut, number):
    with Terminal(telltick(*hut.demo)) as terminal:
        terminal.until(recording)
        since = hut.now()
        os.kill(terminal.pid, number)
        assert terminal.exited(10) is not None
        assert "\x1b[?1049l" in b"".join(data for _, data in terminal.read).decode()
    hut.unharmed(since)


@pytest.mark.parametrize("number", [signal.SIGSTOP, signal.SIGTSTP])
def test_a_screen_that_was_stopped_and_goes_on_is_whole_takes_keys_and_leaves(hut, number):
    with Terminal(telltick(*hut.demo)) as terminal:
        terminal.until(recording)
        threads = Path(f"/proc/{terminal.pid}/task")
        usual = len(list(threads.iterdir()))
        for _ in range(3):
            os.kill(terminal.pid, number)
            wait_until(lambda: "T (stopped)" in threads.with_name("status").read_text(), "the stop")
            terminal.read.clear()  # another program drew on the glass meanwhile,
            set_for_lines(terminal.fd)  # and set the line as it liked it
            os.kill(terminal.pid, signal.SIGCONT)
            terminal.until(recording)
            assert not termios.tcgetattr(terminal.fd)[tty.LFLAG] & LINES
        assert len(list(threads.iterdir())) <= usual + 1
        terminal.send("q")
        terminal.until(lambda t: "leave the screen" in t.text())
        terminal.send("l")
        assert terminal.exited(10) is not None
    assert held(hut.folder)


def test_a_stalled_terminal_holds_up_nothing_and_is_current_as_soon_as_it_reads_again(hut):
    with Terminal(telltick(*hut.demo)) as terminal:
        terminal.until(recording)
        since = hut.now()
        terminal.stall()
        wait_until(lambda: hut.seconds() > since[1] + STALL_S, "the stall's end")
        back = time.monotonic()
        terminal.go_on()
        terminal.until(lambda t: behind_s(t, hut) < 2)
        assert time.monotonic() - back <= FRESH_S
    hut.unharmed(since)


def test_a_hang_up_of_a_stalled_terminal_ends_the_screen(hut):
    with Terminal(telltick(*hut.demo)) as terminal:
        terminal.until(recording)
        terminal.stall()
        since = hut.now()
        wait_until(lambda: hut.seconds() > since[1] + 3, "a few seconds of stall")
        terminal._open = False  # what was written is not read before the line closes
        hung_up = terminal.hang_up()
        gone = terminal.exited(30)
        assert gone is not None
        assert gone - hung_up <= LEAVE_S
    hut.unharmed(since)


@pytest.mark.parametrize("answering", [True, False], ids=["that-answered", "that-never-answered"])
def test_a_terminal_that_is_silent_for_too_long_is_left(hut, answering):
    command = python("-c", SHORT_SILENCE, *hut.demo)
    with Terminal(command, answering=answering) as terminal:
        terminal.until(recording)
        since = hut.now()
        terminal.stall()
        assert terminal.exited(60) is not None
    hut.unharmed(since)


def test_a_link_of_two_thousand_bytes_a_second_shows_the_present(hut):
    with Terminal(telltick(*hut.demo), bytes_per_s=2000) as terminal:
        terminal.until(recording)
        since = hut.now()
        for seconds in range(6, 16, 3):
            wait_until(lambda s=seconds: hut.seconds() > since[1] + s, "sound")
            assert behind_s(terminal, hut) < 3
    hut.unharmed(since)


@pytest.fixture
def ignoring_hang_ups() -> Iterator[None]:
    """Like under nohup: what is started ignores hang-ups, unless it is told otherwise."""
    usual = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    yield
    signal.signal(signal.SIGHUP, usual)


def test_a_link_ends_with_its_terminal_even_when_we_ignore_hang_ups(ssh, ignoring_hang_ups):
    with Terminal(ssh.command(["sh", "-c", "while echo here; do sleep 0.1; done"], ROOT)) as terminal:
        terminal.until(lambda t: "here" in t.text())
        hung_up = terminal.hang_up()
        gone = terminal.exited(20)
        assert gone is not None
        assert gone - hung_up <= LEAVE_S


def test_a_dropped_connection_leaves_the_recorder_recording_and_joining_returns_to_it(hut, ssh):
    with Terminal(ssh.command(telltick(*hut.demo), ROOT)) as terminal:
        terminal.until(recording)
        since = hut.now()
        assert hut.viewers()
        os.kill(terminal.pid, signal.SIGKILL)  # the connection, not the screen at its other end
        dropped = time.monotonic()
        wait_until(lambda: not hut.viewers(), "the screen's end")
        assert time.monotonic() - dropped <= LEAVE_S + 1
    hut.unharmed(since)
    with Terminal(ssh.command(telltick(*hut.join), ROOT)) as again:
        again.until(recording)
        again.until(lambda t: behind_s(t, hut) < 2)
    hut.unharmed(since)
