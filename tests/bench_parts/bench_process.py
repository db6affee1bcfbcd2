"""The simulated bench as a program of its own: a radio on a pseudo-terminal, the receiver's audio to a FIFO.

Usage: bench_process.py SEED FIFO. Prints the port. Then each line on standard input is done to the bench and
answered with ``done``: ``start`` switches the radio on, ``factor=value`` changes something. It runs until
standard input ends.
"""

from __future__ import annotations

import contextlib
import os
import sys

from telltick.sources.audio import AudioBlock
from telltick.sources.bench import SimulatedBench


def let_go_of_the_line(bench: SimulatedBench) -> None:
    """Close the far end of the pseudo-terminal, which a poller of another process would find in use.

    From now on the line is up only while a poller has it open.
    """
    nowhere = os.open(os.devnull, os.O_RDWR)
    os.dup2(nowhere, bench._pty._kept_fd)
    os.close(nowhere)


def run(seed: int, fifo: str) -> None:
    bench = SimulatedBench(seed)
    let_go_of_the_line(bench)
    out = os.open(fifo, os.O_WRONLY | os.O_NONBLOCK)

    def play(block: AudioBlock) -> None:
        with contextlib.suppress(BlockingIOError):  # nobody listens: the sound goes nowhere
            os.write(out, block.samples.astype("<i2").tobytes())

    bench.audio.start(play)
    print(bench.plan.port, flush=True)
    for line in sys.stdin:
        factor, _, value = line.strip().partition("=")
        bench.start() if factor == "start" else bench.apply(factor, value)
        print("done", flush=True)
    bench.stop()
    os.close(out)


if __name__ == "__main__":
    run(int(sys.argv[1]), sys.argv[2])
