"""Records a sound input through `SoundCard` and saves what came; a program of its own.

PortAudio reads its environment once, so a test that brings its own sound server needs a process of its own.
Usage: record_input.py NAME CHANNEL SAMPLES OUT.npz. Goes on until that many samples came or the input has a
problem.
"""

from __future__ import annotations

import queue
import sys
import time

import numpy as np

from telltick.model.errors import DeviceError
from telltick.model.plan import AudioPlan
from telltick.sources.audio import AudioBlock
from telltick.sources.soundcard import SoundCard
from tests.bench_parts.recording import wait_until

PATIENCE_S = 60.0
PLACED = "placed"  # among the words: said once the sound server has been seen to feed the stream


def record(name: str, channel: int, wanted: int, out: str) -> None:
    card = SoundCard(AudioPlan(device=name, channel=channel))
    blocks: queue.SimpleQueue[AudioBlock] = queue.SimpleQueue()
    card.start(blocks.put)
    print("recording", card.name, flush=True)
    if PLACED in sys.argv:
        wait_until(lambda: card._placement is not None and card._placement.seen, "the stream on the server")
        print(PLACED, flush=True)
    taken: list[AudioBlock] = []
    deadline = time.monotonic() + PATIENCE_S
    while sum(len(block.samples) for block in taken) < wanted and time.monotonic() < deadline:
        if problem := card.problem():
            print("problem", problem, flush=True)
            break
        try:
            taken.append(blocks.get(timeout=0.1))
        except queue.Empty:
            continue
    card.stop()
    np.savez(
        out,
        samples=np.concatenate([block.samples for block in taken]),
        sizes=[len(block.samples) for block in taken],
        arrival_ns=[block.arrival_ns for block in taken],
        overflow=[block.overflow for block in taken],
    )


if __name__ == "__main__":
    try:
        record(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), sys.argv[4])
    except DeviceError as why:
        print("refused", why, flush=True)
        sys.exit(2)
