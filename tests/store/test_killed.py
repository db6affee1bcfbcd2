"""A recorder killed at any moment loses the block in hand and nothing else."""

from __future__ import annotations

import os
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from telltick.store.journal import Journal
from telltick.store.lock import held
from telltick.store.segments import AudioReader
from telltick.store.session import SessionReader
from tests.store.scene import RATE, noise, poll_at

# Writes as fast as it can; says on its standard output what is surely stored.
WRITER = """
import sys
from pathlib import Path
from telltick.model.clock import NS, Anchor
from telltick.store.journal import Journal
from telltick.store.lock import hold
from telltick.store.segments import AudioWriter
from tests.store.scene import FACTS, RATE, noise, poll_at

folder = Path(sys.argv[1])
block = 160
audio = noise(60 * RATE)
with hold(folder), Journal.create(folder, FACTS) as journal:
    journal.add_anchor(Anchor(0, 0, 0, 0))
    writer = AudioWriter(folder, RATE, segment_s=1)
    for number in range(len(audio) // block):
        writer.write(audio[number * block : (number + 1) * block])
        bursts, poll = poll_at(number, number * NS // 5)
        with journal.batch():
            journal.add_bursts(bursts)
            journal.add_poll(poll)
        sys.stdout.write(f"{number + 1}\\n")
        sys.stdout.flush()
"""
BLOCK = 160
TOP = Path(__file__).parents[2]


def kill_after(folder: Path, polls: int) -> int:
    """Kill a writer once it has stored some polls; returns how many it had told of."""
    process = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(folder)], stdout=subprocess.PIPE, cwd=TOP, bufsize=0
    )
    told = b""
    deadline = time.monotonic() + 60
    while told.count(b"\n") < polls:
        ready, _, _ = select.select([process.stdout], [], [], max(deadline - time.monotonic(), 0))
        assert ready, "the writer does not write"
        told += os.read(process.stdout.fileno(), 65_536)
    process.send_signal(signal.SIGKILL)
    process.wait(timeout=20)
    told += process.stdout.read()
    process.stdout.close()
    return int(told.decode().split("\n")[-2])


@pytest.mark.bench_part
@pytest.mark.parametrize("polls", [1, 37, 120, 333, 700])
def test_what_was_stored_before_the_kill_is_all_there(tmp_path, polls):
    stored = kill_after(tmp_path, polls)
    assert not held(tmp_path)
    with SessionReader(tmp_path) as reader:
        assert reader.ending is None
        assert stored <= len(reader.polls) <= stored + 1
        assert len(reader.bursts) == 2 * len(reader.polls)  # a batch is whole or not there
        assert [poll.number for poll in reader.polls] == list(range(len(reader.polls)))
        assert (
            list(reader.bursts[-2:])
            == poll_at(len(reader.polls) - 1, (len(reader.polls) - 1) * 10**9 // 5)[0]
        )
        samples = reader.audio.samples
        assert stored * BLOCK <= samples <= (stored + 1) * BLOCK
        np.testing.assert_array_equal(reader.audio.read(0, samples), noise(60 * RATE)[:samples])


@pytest.mark.bench_part
def test_a_killed_session_takes_late_notes(tmp_path):
    from telltick.model.marks import MarkKind

    kill_after(tmp_path, 10)
    with Journal.open(tmp_path) as journal:
        journal.add_mark(t_ns=1, kind=MarkKind.NOTE, note="the lights went out", late=True)
    with SessionReader(tmp_path) as reader:
        assert [mark.note for mark in reader.marks] == ["the lights went out"]
        assert AudioReader(tmp_path, RATE).samples == reader.audio.samples
