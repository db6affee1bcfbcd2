"""What the bridge costs: ``python -m tests.benchmarks.bridge [--seconds 20] [--megabytes 10]``.

A recorder process with a bridge stands between two pseudo-terminals: a program on one side, a radio on the
other. Added latency is the time a short message takes through the bridge minus the time it takes over a
pseudo-terminal alone, each way; both are measured in turn by the same code. Throughput is that of random
bytes both ways at once, which must arrive identical.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import select
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
import serial
import soundfile

from telltick.model.session import Verb
from tests.bench_parts.recording import Recording
from tests.bench_parts.test_bridge import free_line, read_all, write_all
from tests.sources.far_end import FarEnd

MESSAGE = b"Q1 0042;"
RATE_HZ = 48_000


def one_way_us(out: int, into: int) -> float:
    """Time from a message's write to its last byte's arrival, in microseconds."""
    began = time.perf_counter_ns()
    os.write(out, MESSAGE)
    got = 0
    while got < len(MESSAGE):
        select.select([into], [], [], 1.0)
        with contextlib.suppress(BlockingIOError):
            got += len(os.read(into, 64))
    return (time.perf_counter_ns() - began) / 1000


def latencies_us(out: int, into: int, seconds: float) -> np.ndarray:
    """Many messages at random intervals around 20 ms."""
    draw, over = np.random.default_rng(3), time.monotonic() + seconds
    took = []
    while time.monotonic() < over:
        time.sleep(draw.uniform(0.005, 0.035))
        took.append(one_way_us(out, into))
    return np.array(took)


def row(name: str, took_us: np.ndarray) -> str:
    at = np.percentile(took_us, [50, 90, 99, 100]) / 1000
    return f"{name:<34} {len(took_us):>6} " + " ".join(f"{value:9.3f}" for value in at)


def direct(seconds: float) -> tuple[np.ndarray, np.ndarray]:
    """A pseudo-terminal with nothing in between."""
    far = FarEnd()
    os.set_blocking(far.fd, False)
    with serial.Serial(far.path, 9600) as port:
        return latencies_us(port.fileno(), far.fd, seconds), latencies_us(far.fd, port.fileno(), seconds)


def measure(folder: Path, seconds: float, megabytes: float) -> None:
    """Print the tables."""
    audio = folder / "noise.wav"
    noise = np.random.default_rng(1).normal(0, 0.05, RATE_HZ * round(8 * seconds + 120))
    soundfile.write(audio, noise, RATE_HZ, subtype="PCM_16")
    far, link = free_line(), folder / "radio"
    os.set_blocking(far.fd, False)
    words = (f"--audio={audio}", f"--port={far.path}", f"--bridge={link}", "--baud=921600")
    bare = direct(seconds / 2)
    with Recording(folder / "session", *words) as recording, serial.Serial(str(link), 921_600) as port:
        recording.wait_for(lambda now: bool(now.anchors), "audio")
        port.write(b"!")
        far.hear(1)
        ways = latencies_us(port.fileno(), far.fd, seconds), latencies_us(far.fd, port.fileno(), seconds)
        print("one way, ms, beside a recorder at 48 kHz  count    median      90 %      99 %   longest")
        for name, took, alone in zip(("program to radio", "radio to program"), ways, bare, strict=True):
            print(row(f"{name}, pty alone", alone))
            print(row(f"{name}, bridged", took))
            added = took - np.median(alone)
            print(row(f"{name}, added", added))
        bulk(port.fileno(), far.fd, round(megabytes * 1e6))
        recording.ask(Verb.FINISH)
        recording.finish()
    far.hang_up()


def bulk(program: int, radio: int, size: int) -> None:
    """Random bytes both ways at once."""
    draw, got = np.random.default_rng(5), {}
    to_radio, to_program = draw.bytes(size), draw.bytes(size)
    work = [
        threading.Thread(target=write_all, args=(program, to_radio)),
        threading.Thread(target=write_all, args=(radio, to_program)),
        threading.Thread(target=lambda: got.update(radio=read_all(radio, size))),
        threading.Thread(target=lambda: got.update(program=read_all(program, size))),
    ]
    began = time.monotonic()
    for thread in work:
        thread.start()
    for thread in work:
        thread.join()
    took = time.monotonic() - began
    same = got["radio"] == to_radio and got["program"] == to_program
    verdict = "identical" if same else "DIFFERENT"
    print(f"{size / 1e6:g} MB each way at once: {verdict}, {size / 1e6 / took:.1f} MB/s")


def main() -> None:
    """Run it in a folder of its own."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--megabytes", type=float, default=10.0)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        measure(Path(folder), args.seconds, args.megabytes)


if __name__ == "__main__":
    main()
