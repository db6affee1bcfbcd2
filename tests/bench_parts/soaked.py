"""A long session in a short time: the real recorder and a real viewer, fed much faster than sound goes.

Recorder and viewer are processes of their own; the one who asks looks at their memory and files from outside.
A viewer looks ten times a second. To have it do here what it does there, the recorder gets no more sound than
a few seconds beyond what the viewer has looked at: it says through a pipe how far it is.
Run as ``python -m tests.bench_parts.soaked record|view FOLDER --hours H --rate HZ`` for one of the two.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TextIO

import numpy as np

from telltick.engine.clocks import Clocks
from telltick.engine.inputs import Inputs
from telltick.engine.live import LiveFeed
from telltick.engine.recorder import Recorder, record
from telltick.model.clock import NS
from telltick.model.snapshot import View
from telltick.sources.audio import AudioBlock
from telltick.sources.bench.offline import RenderedSession, render_session_audio
from telltick.sources.serial_port import open_port
from telltick.store.folder import JOURNAL_NAME, is_session
from telltick.store.segments import AudioReader
from tests.engine.sessions import bench_facts

MINUTE_S = 60
BLOCKS_A_SECOND = 50
AHEAD_S = 3  # sound beyond what the viewer has looked at
REST_S = 0.005
PATIENCE_S = 120.0


class HurriedSource:
    """A receiver and a poller whose time runs as fast as the recorder can take it.

    One rendered minute is played over and over. The recorder asks for the source's health once each turn,
    when it has taken what there was: that paces it.
    """

    name = "hurried"
    over = False

    def __init__(self, minute: RenderedSession, seconds: int, viewer: TextIO, ahead_s: int = AHEAD_S) -> None:
        """Prepare.

        Args:
            minute: what to play over and over.
            seconds: how long.
            viewer: where it says, a line each, how many seconds it has looked at; its end lets all go.
            ahead_s: how far to play beyond that.
        """
        self.rate_hz = minute.rate_hz
        self._minute, self._seconds, self._viewer, self._ahead_s = minute, seconds, viewer, ahead_s
        self._polls = max(poll.number for poll in minute.polls) + 1
        self._wanted = threading.Semaphore(2)
        self._stopping = False
        self.now_ns = 0

    def start(self, sink: Callable[[Any], None]) -> None:
        """Play; the sink is the recorder's queue, which takes bursts and polls too."""
        threading.Thread(target=self._play, args=(sink,), daemon=True).start()

    def stop(self) -> None:
        self._stopping = True
        self._wanted.release()

    def problem(self) -> None:
        self._wanted.release()

    def _play(self, sink: Callable[[Any], None]) -> None:
        looked_s = 0.0
        for second in range(self._seconds):
            while second >= looked_s + self._ahead_s and (line := self._viewer.readline()):
                looked_s = float(line)
            self._wanted.acquire()
            if self._stopping:
                return
            for fact in self._facts_of(second):
                sink(fact)
        self.over = True

    def _facts_of(self, second: int) -> Iterator[Any]:
        first, size = second % MINUTE_S * self.rate_hz, self.rate_hz // BLOCKS_A_SECOND
        for block in range(BLOCKS_A_SECOND):
            at = first + block * size
            self.now_ns = second * NS + (block + 1) * NS // BLOCKS_A_SECOND
            yield AudioBlock(self._minute.audio[at : at + size], self.now_ns)
        yield from self._traffic(second)

    def _traffic(self, second: int) -> Iterator[Any]:
        minute, at = divmod(second, MINUTE_S)
        by_ns, by_polls = minute * MINUTE_S * NS, minute * self._polls
        for burst in self._minute.bursts:
            if at * NS <= burst.start_ns < (at + 1) * NS:
                yield replace(
                    burst,
                    start_ns=burst.start_ns + by_ns,
                    end_ns=burst.end_ns + by_ns,
                    poll=(burst.poll or 0) + by_polls,
                )
        for poll in self._minute.polls:
            if at * NS <= poll.sent_ns < (at + 1) * NS:
                yield replace(
                    poll,
                    number=poll.number + by_polls,
                    due_ns=poll.due_ns + by_ns,
                    sent_ns=poll.sent_ns + by_ns,
                )


def the_minute(rate_hz: int) -> RenderedSession:
    """What is played over and over."""
    return render_session_audio(9, float(MINUTE_S), rate_hz=rate_hz)


def run_recorder(folder: Path, seconds: int, rate_hz: int, ahead_s: int) -> None:
    """Record a hurried session."""
    source = HurriedSource(the_minute(rate_hz), seconds, sys.stdin, ahead_s)
    clocks = Clocks(lambda: source.now_ns, lambda: source.now_ns, lambda: 0)
    inputs = Inputs(source, None, open_port, zero_ns=0, clocks=clocks)
    record(Recorder(folder, bench_facts(rate_hz), inputs))


class HurriedFeed(LiveFeed):
    """A live view whose present is the end of what is recorded."""

    def moment_ns(self) -> int:
        return self._reader.end_ns


def run_viewer(folder: Path) -> None:
    """Look at a session until it has ended, and say how far it is."""
    feed = HurriedFeed(folder)
    pause, said_s = threading.Event(), -1.0
    while (picture := feed.look(View())).phase.value not in ("ended", "recorder gone"):
        looked_s = picture.duration_ns / NS
        if looked_s > said_s:
            with contextlib.suppress(BrokenPipeError):  # the recorder has just ended
                print(looked_s, flush=True)
        else:
            pause.wait(REST_S)
        said_s = looked_s
    feed.close()


@dataclass(frozen=True, slots=True)
class Row:
    """What stood at one moment.

    Attributes:
        session_s: audio recorded.
        recorder_mb: resident memory of the recorder.
        viewer_mb: the same of the viewer.
        descriptors: open files of both.
        log_mb: SQLite's write-ahead log.
        journal_mb: the journal itself.
        audio_bytes: every segment.
    """

    session_s: float
    recorder_mb: float
    viewer_mb: float
    descriptors: int
    log_mb: float
    journal_mb: float
    audio_bytes: int


@contextlib.contextmanager
def soaking(folder: Path, seconds: int, rate_hz: int, ahead_s: int = AHEAD_S) -> Iterator[Iterator[Row]]:
    """A recorder and a viewer at work; yields what is seen of them about once a second of real time."""
    words = [sys.executable, "-m", "tests.bench_parts.soaked"]
    options = [str(folder), f"--seconds={seconds}", f"--rate={rate_hz}", f"--ahead={ahead_s}"]
    hears, says = os.pipe()
    with subprocess.Popen([*words, "record", *options], stdin=hears) as recorder:
        os.close(hears)
        _wait_for(lambda: is_session(folder))
        with subprocess.Popen([*words, "view", *options], stdout=says) as viewer:
            os.close(says)
            try:
                yield _rows(folder, rate_hz, recorder, viewer)
            finally:
                for process in (viewer, recorder):
                    process.kill()


def _wait_for(holds: Callable[[], bool]) -> None:
    pause, deadline = threading.Event(), time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < deadline, "the recorder did not start"
        pause.wait(0.02)


def _rows(
    folder: Path, rate_hz: int, recorder: subprocess.Popen[bytes], viewer: subprocess.Popen[bytes]
) -> Iterator[Row]:
    pause = threading.Event()
    while recorder.poll() is None:
        with contextlib.suppress(OSError, IndexError):  # one of them has just ended
            yield _row(folder, rate_hz, recorder.pid, viewer.pid)
        pause.wait(0.5)
    assert recorder.returncode == 0, "the recorder failed"
    assert viewer.wait(timeout=PATIENCE_S) == 0, "the viewer failed"


def _row(folder: Path, rate_hz: int, recorder: int, viewer: int) -> Row:
    audio = sum(path.stat().st_size for path in (folder / "audio").iterdir())
    journal = folder / JOURNAL_NAME
    return Row(
        audio / 2 / rate_hz,
        _resident_mb(recorder),
        _resident_mb(viewer),
        _descriptors(recorder) + _descriptors(viewer),
        Path(f"{journal}-wal").stat().st_size / 1e6,
        journal.stat().st_size / 1e6,
        audio,
    )


def _resident_mb(pid: int) -> float:
    pages = int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def _descriptors(pid: int) -> int:
    return sum(1 for _ in Path(f"/proc/{pid}/fd").iterdir())


def misplaced_samples(folder: Path, seconds: int, rate_hz: int) -> int:
    """Samples around the borders of segments, and at the end, that are not the ones played there."""
    minute = the_minute(rate_hz).audio
    audio = AudioReader(folder, rate_hz)
    wrong = abs(audio.samples - seconds * rate_hz)
    for path in sorted((folder / "audio").iterdir()):
        first = max(int(path.stem) - rate_hz // 10, 0)
        got = audio.read(first, rate_hz // 5)
        wrong += int(np.count_nonzero(got != minute[np.arange(first, first + len(got)) % len(minute)]))
    return wrong


def main() -> None:
    """Run one of the two."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("part", choices=("record", "view"))
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seconds", type=int, required=True)
    parser.add_argument("--rate", type=int, required=True)
    parser.add_argument("--ahead", type=int, default=AHEAD_S)
    args = parser.parse_args()
    if args.part == "record":
        run_recorder(args.folder, args.seconds, args.rate, args.ahead)
    else:
        run_viewer(args.folder)


if __name__ == "__main__":
    main()
