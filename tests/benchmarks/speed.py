"""How fast a long recording is measured: ``python -m tests.benchmarks.speed [--seconds 3600] [--marks 0]``.

A simulated 48 kHz receiver with 5 polls a second goes through what an offline measurement does: cells of
the pieces searched for the latency, the search, rows of a minute at a time, the reading and its spectrum.
Times are processor seconds of this process; nothing is read from disk. The last line is what
``telltick measure --json`` takes for a session as long on disk, journal and start-up included, in a process
of its own.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

import numpy as np

from telltick.measure.cells import Cells, power_cells
from telltick.measure.latency import find_latency_in, search_pieces
from telltick.measure.reading import spectrum_of, take_reading
from telltick.measure.rows import PollRows, measure_rows
from telltick.model.clock import NS, Anchor
from telltick.model.session import Ending
from telltick.model.traffic import Gate, Poll
from telltick.store.journal import Journal
from tests.engine.sessions import STARTED, Hands, add_marks, bench_facts, moved, rendered, write_audio
from tests.scenes import make_scene

RATE_HZ = 48_000
CHUNK_S = 60
T = TypeVar("T")
# A process inherits the peak memory of the one it was forked from, so a small one starts the command.
_WATCH = (
    "import resource, subprocess, sys; subprocess.run(sys.argv[1:], check=True); "
    "used = resource.getrusage(resource.RUSAGE_CHILDREN); "
    "print(used.ru_utime + used.ru_stime, used.ru_maxrss, file=sys.stderr)"
)


class Recording:
    """A minute of audio and its polls, played over and over without taking more memory."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self._scene = make_scene(1, excess_db=6.0, seconds=CHUNK_S, rate_hz=RATE_HZ)
        self._twice = np.tile(self._scene.samples, 2)
        turns = np.arange(int(np.ceil(seconds / CHUNK_S)))
        gate = self._scene.gate
        offset_s = np.repeat(turns * float(CHUNK_S), len(gate.start_s))
        poll = np.tile(gate.poll, len(turns)) + np.repeat(turns * gate.polls, len(gate.poll))
        self.gate = Gate(
            np.tile(gate.start_s, len(turns)) + offset_s,
            np.tile(gate.end_s, len(turns)) + offset_s,
            np.tile(gate.rx, len(turns)),
            poll,
        )

    def read(self, first: int, count: int) -> np.ndarray:
        """Up to a minute of samples from anywhere in the recording."""
        at = first % len(self._scene.samples)
        return self._twice[at : at + count]


def cells_of(recording: Recording) -> list[Cells]:
    """Power cells of the pieces that are searched for the latency."""
    parts = []
    for start_s, end_s in search_pieces(recording.gate.poll_start_s, 0.0, recording.seconds):
        first = int(start_s * RATE_HZ)
        samples = recording.read(first, int(end_s * RATE_HZ) - first)
        parts.append(power_cells(samples, first, RATE_HZ))
    return parts


def rows_of(recording: Recording, gate: Gate) -> PollRows:
    """Rows of the whole recording, a minute at a time."""
    parts: list[PollRows] = []
    at, end = 0, int(recording.seconds * RATE_HZ)
    while at < end:
        stop = min(end, at + CHUNK_S * RATE_HZ)
        near = gate.between(at / RATE_HZ - 5, stop / RATE_HZ + 5)
        rows = measure_rows(recording.read(at, stop - at), at, RATE_HZ, near)
        parts.append(rows)
        if stop == end:
            break
        at = int(rows.resume_s * RATE_HZ)
    return PollRows.join(parts)


def write_session(folder: Path, seconds: float, marks: int = 0) -> Path:
    """The minute over and over as a session on disk; its segments share their bytes.

    Args:
        folder: where to write it.
        seconds: how long it is to be, in whole pieces of ten minutes.
        marks: changes of the setup that cut it into steps of one length.
    """
    minute = rendered(9, float(CHUNK_S))
    minutes, segment = max(1, round(seconds / CHUNK_S)), 10
    folder.mkdir(mode=0o700)
    write_audio(folder, [minute.audio] * min(segment, minutes))
    first = folder / "audio" / f"{0:012d}.wav"
    for number in range(1, -(-minutes // segment)):
        os.link(first, first.with_name(f"{number * segment * CHUNK_S * RATE_HZ:012d}.wav"))
    seconds = float(-(-minutes // segment) * min(segment, minutes) * CHUNK_S)
    polls = max(burst.poll or 0 for burst in minute.bursts) + 1
    with Journal.create(folder, bench_facts()) as journal, journal.batch():
        for second in range(int(seconds)):
            journal.add_anchor(Anchor(0, second * RATE_HZ, second * NS, STARTED + second * NS))
        for number in range(int(seconds // CHUNK_S)):
            by_ns = number * CHUNK_S * NS
            journal.add_bursts(moved(minute.bursts, by_ns, number * polls))
            for poll in minute.polls:
                journal.add_poll(moved_poll(poll, by_ns, number * polls))
        add_marks(journal, changes(seconds, marks))
        journal.end(Ending(round(seconds * NS), "time is up"))
    return folder


def moved_poll(poll: Poll, by_ns: int, by_number: int) -> Poll:
    """The same poll later on."""
    return replace(
        poll, number=poll.number + by_number, due_ns=poll.due_ns + by_ns, sent_ns=poll.sent_ns + by_ns
    )


def changes(seconds: float, marks: int) -> list[Hands]:
    """A ferrite put on and taken off again and again; nothing is heard of it."""
    at_s = [seconds * (number + 1) / (marks + 1) for number in range(marks)]
    return [Hands(s, s + 1, "ferrite", ("on", "off")[number % 2]) for number, s in enumerate(at_s)]


class Command:
    """``telltick measure --json`` in a process of its own, its byte code compiled by a run before."""

    def __init__(self, place: Path) -> None:
        """Have it compiled by measuring a minute.

        Args:
            place: a folder for what is written on the way.
        """
        self._env = {**os.environ, "PYTHONPYCACHEPREFIX": str(place / "compiled")}
        self._env.pop("PYTHONDONTWRITEBYTECODE", None)
        self.measure(write_session(place / "short", float(CHUNK_S)))

    def measure(self, folder: Path) -> tuple[float, float, float]:
        """Seconds of audio that were measured, seconds of processor, and the highest memory in MB."""
        watched = [sys.executable, "-c", _WATCH, sys.executable, "-m", "telltick", "measure", "--json"]
        told = subprocess.run(
            [*watched, str(folder)], capture_output=True, check=True, env=self._env, text=True
        )
        took_s, peak_kb = (float(word) for word in told.stderr.split()[-2:])
        return json.loads(told.stdout)["audio"]["seconds"], took_s, peak_kb / 1024


def print_command(seconds: float, marks: int) -> None:
    """What the whole command takes."""
    with tempfile.TemporaryDirectory() as place:
        folder = write_session(Path(place) / "s", seconds, marks)
        heard_s, took_s, peak_mb = Command(Path(place)).measure(folder)
    print(
        f"telltick measure --json of {heard_s:.0f} s and {marks} marks on disk: {took_s:.2f} s, "
        f"{heard_s / took_s:.0f} x real time, peak memory {peak_mb:.0f} MB"
    )


def timed(call: Callable[[], T]) -> tuple[T, float]:
    """A call's result and the processor seconds it took."""
    began = time.process_time()
    return call(), time.process_time() - began


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=3600.0)
    parser.add_argument("--marks", type=int, default=0, help="changes of the setup in the session on disk")
    args = parser.parse_args()
    seconds = args.seconds
    recording = Recording(seconds)
    timed(lambda: measure_rows(recording.read(0, RATE_HZ), 0, RATE_HZ, recording.gate.between(0, 5)))
    before_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    table: dict[str, float] = {}
    pieces, table["power cells"] = timed(lambda: cells_of(recording))
    latency, table["latency"] = timed(lambda: find_latency_in(pieces, recording.gate))
    gate = recording.gate.shifted(latency.seconds.value if latency else 0.0)
    rows, table["rows"] = timed(lambda: rows_of(recording, gate))
    _, table["reading"] = timed(lambda: take_reading(rows, latency=latency))
    _, table["spectrum"] = timed(lambda: spectrum_of(rows))
    table["together"] = sum(table.values())
    print(f"{seconds:.0f} s of {RATE_HZ / 1000:g} kHz audio, {rows.polls} polls")
    print(f"{'stage':<12} {'seconds':>8} {'x real time':>12}")
    for stage, took in table.items():
        print(f"{stage:<12} {took:8.2f} {seconds / max(took, 1e-9):12.0f}")
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory {peak_mb:.0f} MB, of which {before_mb:.0f} MB before measuring began")
    print_command(seconds, args.marks)


if __name__ == "__main__":
    main()
