"""Polls until a tie is proven: ``python -m tests.benchmarks.waveform [--runs 8]``.

By loudness and by waveform: a minute of 5 polls a second with replies that differ, 2 ms of unknown timing
jitter; the first poll at which the e-value reaches 100. "fixed" hears the line's waveform as it is, "free"
with a new phase in each burst.
"""

from __future__ import annotations

import argparse

import numpy as np

from telltick.measure.evidence import tie_log_e
from telltick.measure.reading import contrasts
from telltick.measure.rows import measure_rows
from telltick.measure.tones import band_bins
from telltick.measure.waveform import waveform_tie
from telltick.model.clock import Floats
from telltick.model.readings import Band
from tests.scenes import make_scene

RATE_HZ = 8000
NEVER = 999


def first_proof(log_e: Floats) -> int:
    """Polls until the e-value reaches 100; 999 when it never does."""
    reached = np.flatnonzero(log_e >= np.log(100))
    return int(reached[0]) + 1 if len(reached) else NEVER


def polls_needed(seed: int, i_over_n_db: float | None, *, free: bool) -> tuple[int, int]:
    """By loudness and by waveform."""
    excess_db = None if i_over_n_db is None else float(10 * np.log10(1 + 10 ** (i_over_n_db / 10)))
    scene = make_scene(
        seed, excess_db=excess_db, rate_hz=RATE_HZ, jitter_s=0.002, random_phase=free, same=False
    )
    gate = scene.gate.shifted(scene.latency_s)
    rows = measure_rows(scene.samples, 0, RATE_HZ, gate)
    loudness = tie_log_e(contrasts(rows, band_bins(rows, Band())))
    waveform = waveform_tie(scene.samples, 0, RATE_HZ, gate, baud=9600)
    return first_proof(loudness), first_proof(waveform.log_e)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=8)
    runs = parser.parse_args().runs
    print(f"Median polls to proof over {runs} runs ({NEVER}: not within a minute)")
    print("I/N      phase  loudness  waveform  ratio")
    for i_over_n_db in (-10.0, -13.0, None):
        for free in (False, True):
            needed = [polls_needed(seed, i_over_n_db, free=free) for seed in range(runs)]
            loud, wave = np.median(needed, axis=0)
            name = "nothing" if i_over_n_db is None else f"{i_over_n_db:.0f} dB"
            print(
                f"{name:<8} {'free' if free else 'fixed':<6} {loud:8.0f} {wave:9.0f} {loud / wave:6.1f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
