"""Character rates told from the audio: ``python -m tests.benchmarks.characters [--runs 200] [--seed 0]``.

Scenes drawn at random: rate, stop bits, I/N, background, replies of 15 to 60 ms, the same each time or not,
heard as the line is or picked up at radio frequency (shifted, a new phase in each burst). Each is judged with
its bytes and without. Right: baud, and the stop bits where they were told; wrong: either is not so.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import replace

import numpy as np

from telltick.measure.characters import burst_length_s, burst_spectra, character_rate
from telltick.model.framing import STANDARD_BAUD, Framing
from tests.scenes import make_scene

RATE_HZ = 8000
BACKGROUNDS = ("clean", "clean", "hum", "speech", "static")
SHARES = (0.1, 0.1, 0.2, 0.25, 0.2, 0.05, 0.05, 0.05)
KINDS = ("right", "wrong", "silent")
Facts = tuple[tuple[str, str], ...]


def one(seed: int) -> list[tuple[Facts, str]]:
    """A scene judged with and without its bytes: facts about it, and how the answer compares."""
    rng = np.random.default_rng(seed + 10**6)
    baud = int(rng.choice(STANDARD_BAUD, p=SHARES))
    framing = Framing(stop_bits=int(rng.choice([1, 2], p=[0.7, 0.3])))
    db = float(rng.choice([-6, 0, 6, 15]))
    radio, same = bool(rng.random() < 0.4), bool(rng.random() < 0.6)
    background = str(rng.choice(BACKGROUNDS))
    reply = int(np.clip(rng.uniform(0.015, 0.06) * baud / framing.bits_per_char, 6, 60))
    request = int(rng.integers(3, 8))
    busy_s = (request + reply) * framing.bits_per_char / baud
    rate, seconds = (5.0, 15.0) if busy_s < 0.09 else (2.0, 30.0) if busy_s < 0.24 else (1.0, 60.0)
    scene = make_scene(
        seed,
        excess_db=float(10 * np.log10(1 + 10 ** (db / 10))),
        seconds=seconds,
        rate_hz=RATE_HZ,
        background=background,
        baud=baud,
        framing=framing,
        request=request,
        reply=reply,
        rate=rate,
        jitter_s=0.0005,
        same=same,
        shift_hz=rng.uniform(0, 20_000) if radio else 0.0,
        random_phase=radio,
    )
    gate = scene.gate.shifted(scene.latency_s)
    spectra = burst_spectra(scene.samples, 0, RATE_HZ, gate, length_s=burst_length_s(gate) or 0.0)
    out = []
    for known in (True, False):
        found = character_rate(spectra if known else replace(spectra, data=()))
        right = found is not None and found.baud == baud and found.framing in (None, framing)
        bytes_known = "known" if known else "unknown"
        facts = (
            ("bytes", bytes_known),
            ("baud", f"{bytes_known} {baud:6d}, {framing.stop_bits} stop"),
            ("I/N", f"{bytes_known} {db:.0f} dB"),
            ("scene", f"{bytes_known} {background}, {'radio' if radio else 'line'}"),
        )
        out.append((facts, "silent" if found is None else "right" if right else "wrong"))
    return out


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    counts: dict[tuple[str, str], Counter[str]] = {}
    for seed in range(asked.seed, asked.seed + asked.runs):
        for facts, kind in one(seed):
            for fact in facts:
                counts.setdefault(fact, Counter())[kind] += 1
    print(f"{asked.runs} scenes: {', '.join(KINDS)}")
    for by, value in sorted(counts):
        print(f"{by:<6} {value:<28}", "  ".join(f"{counts[by, value][kind]:4d}" for kind in KINDS))


if __name__ == "__main__":
    main()
