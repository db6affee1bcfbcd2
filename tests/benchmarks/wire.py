"""What the screen costs on the wire: ``python -m tests.benchmarks.wire [--stall S] [--only pty|ssh]``.

A live demo at 120x40 in 256 colours, watched over a pseudo-terminal and over a real sshd on loopback: bytes,
processor time, lag on a slow link, a stall, a hang-up.
"""

from __future__ import annotations

import argparse
import itertools
import json
import re
import statistics
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from telltick.engine.marking import Marker
from telltick.model.session import Verb
from telltick.store.lock import held
from tests.bench_parts.loopback_ssh import LoopbackSsh, missing_part, python
from tests.bench_parts.recording import wait_until
from tests.bench_parts.terminal import ROOT, Terminal

SETTLE_S, STEADY_S, SLOW_S = 8.0, 20.0, 20.0
SLOW_BYTES_PER_S, SLOWEST_BYTES_PER_S = 5000.0, 2000.0
DRAWING = ("MainThread", "textual-output", "textual-input")
Wrap = Callable[[list[str]], list[str]]


@dataclass(frozen=True)
class Row:
    """One line of the table."""

    what: str
    value: float
    unit: str
    bar: float | None = None

    def __str__(self) -> str:
        verdict = "" if self.bar is None else "met" if self.value <= self.bar else "MISSED"
        bar = "" if self.bar is None else f"<= {self.bar:g}"
        return f"  {self.what:<46} {self.value:9.2f} {self.unit:<8} {bar:>9}  {verdict}"


class Run:
    """A watched viewer on a terminal."""

    def __init__(
        self, folder: Path, wrap: Wrap, session: Path, *, join: bool = False, **terminal: Any
    ) -> None:
        self.log = folder / f"watch-{time.monotonic_ns()}.jsonl"
        words = ["demo", "--session", str(session)]
        self.terminal = Terminal(wrap(python("-m", "tests.benchmarks.watched", str(self.log), *words)))

    def notes(self, kind: str) -> list[dict[str, Any]]:
        lines = self.log.read_text(encoding="utf-8").splitlines() if self.log.exists() else []
        return [note for note in map(json.loads, lines) if note["kind"] == kind]

    def wait_for_picture(self) -> None:
        self.terminal.until(lambda _: any(note["picture"] for note in self.notes("asked")), 90)

    def leave(self, key: str) -> None:
        self.terminal.send("q")
        time.sleep(1)
        self.terminal.send(key)
        assert self.terminal.exited(20) is not None, self.terminal.text()


def between(terminal: Terminal, start_s: float, end_s: float) -> int:
    return sum(len(data) for t, data in terminal.read if start_s <= t < end_s)


def first_paint(run: Run) -> Row:
    """Everything up to the first frame with a picture of the session in it."""
    number = next(k for k, note in enumerate(run.notes("asked")) if note["picture"])
    run.terminal.until(lambda terminal: len(terminal.asked) > number)
    sent = sum(len(data) for t, data in run.terminal.read if t <= run.terminal.asked[number])
    return Row("first paint, from the start to a picture", sent / 1000, "kB", 10)


def steady(run: Run) -> list[Row]:
    """Bytes, frames and processor time while nothing happens but the session."""
    start = time.monotonic()
    time.sleep(STEADY_S)
    seconds = [between(run.terminal, start + k, start + k + 1) / 1000 for k in range(int(STEADY_S))]
    frames = sum(start <= note["t"] < start + STEADY_S for note in run.notes("asked"))
    cpu = [note for note in run.notes("cpu") if note["t"] >= start]
    share = share_of_core(cpu[0], cpu[-1])
    drawing, looking = sum(share.get(n, 0.0) for n in DRAWING), share.get("lookout", 0.0)
    return [
        Row("frames", frames / STEADY_S, "per s"),
        Row("bytes, mean", statistics.mean(seconds), "kB/s", 4),
        Row("bytes, busiest second", max(seconds), "kB/s"),
        Row("drawing (event loop, output, input threads)", drawing, "% core", 5),
        Row("drawing, a frame", 10 * drawing * STEADY_S / max(frames, 1), "ms"),
        Row("live analysis (lookout thread)", looking, "% core", 2),
    ]


def share_of_core(first: dict[str, Any], last: dict[str, Any]) -> dict[str, float]:
    """Per cent of a core that each thread used between two notes."""
    span, before = last["t"] - first["t"], first["threads"]
    return {name: 100 * (used - before.get(name, 0.0)) / span for name, used in last["threads"].items()}


def repaint(run: Run) -> Row:
    """What Ctrl-L costs on a full picture."""
    sizes: list[int] = []
    start, number = time.monotonic(), len(run.terminal.asked)
    run.terminal.send("\x0c")
    run.terminal.until(lambda terminal: len(terminal.asked) > number + 4)
    ends = [start, *run.terminal.asked[number:]]
    for a, b in itertools.pairwise(ends):
        sizes.append(sum(len(data) for t, data in run.terminal.read if a < t <= b))
    return Row("Ctrl-L on a full picture", max(sizes) / 1000, "kB", 10)


def processor() -> Row:
    """How fast this machine is just now; on a quiet one of 2020 it is about 0.05 s (a value from memory)."""
    start, total = time.thread_time(), 0
    for turn in range(1_000_000):
        total += turn
    return Row("(a million turns of an empty loop, here and now)", time.thread_time() - start, "s")


def lag(run: Run, start_s: float, words: str, bar: float | None) -> list[Row]:
    """How late frames, and the pictures in them, stand on the glass."""
    pairs = [
        (note, seen)
        for note, seen in zip(run.notes("asked"), list(run.terminal.asked), strict=False)
        if note["t"] >= start_s
    ]
    frames = sorted(seen - note["t"] for note, seen in pairs)
    pictures = sorted(seen - note["picture"] for note, seen in pairs if note["picture"])
    return [
        Row(f"{words}: frames", len(pairs) / (time.monotonic() - start_s), "per s"),
        Row(f"{words}: lag, median", statistics.median(frames), "s"),
        Row(f"{words}: lag, largest", frames[-1], "s", bar),
        Row(f"{words}: age of a picture drawn, 95 %", pictures[int(0.95 * len(pictures))], "s"),
    ]


def slow_link(run: Run, bytes_per_s: float, bar: float | None) -> list[Row]:
    """A link that carries so much and no more."""
    run.terminal.bytes_per_s = bytes_per_s
    time.sleep(3)
    start = time.monotonic()
    time.sleep(SLOW_S)
    rows = lag(run, start, f"{bytes_per_s / 1000:g} kB/s link", bar)
    run.terminal.bytes_per_s = None
    time.sleep(2)
    return rows


def links(run: Run) -> list[Row]:
    return [*slow_link(run, SLOW_BYTES_PER_S, 0.5), *slow_link(run, SLOWEST_BYTES_PER_S, None)]


def stall(run: Run, seconds: float) -> list[Row]:
    """The terminal takes nothing for a while."""
    start = time.monotonic()
    run.terminal.stall()
    time.sleep(seconds)
    number = len(run.terminal.asked)
    back = time.monotonic()
    run.terminal.go_on()
    run.terminal.until(lambda terminal: _fresh_at(run, terminal, number, back) is not None, 30)
    fresh = _fresh_at(run, run.terminal, number, back)
    assert fresh is not None
    gaps = [note["gap"] for note in run.notes("gap") if note["t"] >= start]
    return [
        Row(f"{seconds:g} s stall: event-loop gap, largest", max(gaps, default=0.0), "s", 0.5),
        Row(f"{seconds:g} s stall: fresh again after", fresh - back, "s", 1),
    ]


def _fresh_at(run: Run, terminal: Terminal, number: int, back_s: float) -> float | None:
    """When a picture taken after `back_s` was on the glass."""
    for note, seen in list(zip(run.notes("asked"), list(terminal.asked), strict=False))[number:]:
        if note["picture"] and note["picture"] >= back_s:
            return seen
    return None


def hang_up(folder: Path, wrap: Wrap, session: Path) -> Row:
    """How long the viewer lives on when its terminal is gone; the recorder is ended afterwards."""
    run = Run(folder, wrap, session)
    try:
        run.wait_for_picture()
        viewer = int(run.notes("pid")[0]["pid"])
        gone = run.terminal.hang_up()
        while alive(viewer):
            if time.monotonic() - gone > 20:
                raise AssertionError(f"the viewer outlives its terminal\n{who_is_left(run.terminal, viewer)}")
            time.sleep(0.01)
        took_s = time.monotonic() - gone
    finally:
        run.terminal.close()
        if held(session):
            Marker(session, lambda: 0, late=False).ask(Verb.FINISH)
        wait_until(lambda: not held(session), "the recorder's end")
    return Row("exit after the terminal hung up", took_s, "s", 0.5)


def who_is_left(terminal: Terminal, viewer: int) -> str:
    """Which processes between the closed line and the viewer still run, and what each of them does."""
    ended = terminal.exited(0)
    line = "ended" if ended is not None else seen_of(terminal.pid)
    return f"  what ran on the terminal ({terminal.pid}): {line}\n  viewer ({viewer}): {seen_of(viewer)}"


def seen_of(pid: int) -> str:
    """What the system says of a process: state, signals it ignores, its terminal, where its threads wait."""
    place = Path(f"/proc/{pid}")
    try:
        status = dict(re.findall(r"^(\w+):\s*(.*)$", (place / "status").read_text(), re.MULTILINE))
        keys = (place / "fd/0").readlink()
        threads = [
            f"{(task / 'comm').read_text().strip()} in {(task / 'wchan').read_text()}"
            for task in (place / "task").iterdir()
        ]
    except OSError as why:
        return f"nothing to be seen ({why.strerror})"
    return f"{status['State']}, ignores {status['SigIgn']}, keys from {keys}, threads: {', '.join(threads)}"


def alive(pid: int) -> bool:
    """Whether a process runs; a zombie does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def measure(folder: Path, wrap: Wrap, stall_s: float) -> list[Row]:
    run = Run(folder, wrap, folder / "session")
    try:
        run.wait_for_picture()
        rows = [first_paint(run)]
        time.sleep(SETTLE_S)
        rows += [*steady(run), processor(), repaint(run), *links(run), *stall(run, stall_s)]
        run.leave("s")
    finally:
        run.terminal.close()
    return [*rows, hang_up(folder, wrap, folder / "again")]


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--stall", type=float, default=60.0, help="seconds the terminal stalls")
    parser.add_argument("--only", choices=("pty", "ssh"))
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        if args.only != "ssh":
            (folder / "pty").mkdir()
            print("over a pseudo-terminal", *measure(folder / "pty", list, args.stall), sep="\n", flush=True)
        if args.only == "pty":
            return
        lacking = missing_part()
        if lacking is not None:
            print(f"over sshd on loopback: NOT MEASURED, this machine lacks {lacking}")
            return
        (folder / "ssh").mkdir()
        with LoopbackSsh(folder / "ssh") as ssh:
            rows = measure(folder / "ssh", lambda words: ssh.command(words, ROOT), args.stall)
        print("over sshd on loopback", *rows, sep="\n")


if __name__ == "__main__":
    main()
