"""Polls until a tie is proven: ``python -m tests.benchmarks.waveform [--runs 24] [--only polls|alarms]``.

By loudness and by waveform: a minute of 5 polls a second with replies that differ, 2 ms of unknown timing
jitter; the first poll at which the e-value reaches 100. "fixed" hears the line's waveform as it is, "free"
with a new phase in each burst.

False alarms: audio without any influence of the polls, watched after every poll of a minute; how often does
the e-value ever reach 100? Each stretch of audio serves ten schedules of polls with bytes of their own.
"""

from __future__ import annotations

import argparse

import numpy as np

from telltick.measure.contrasts import contrasts
from telltick.measure.evidence import tie_log_e
from telltick.measure.rows import measure_rows
from telltick.measure.tones import band_bins
from telltick.measure.waveform import waveform_tie
from telltick.model.clock import Floats
from telltick.model.readings import Band
from tests.benchmarks.false_alarms import NULLS
from tests.scenes import make_scene, poll_gate

RATE_HZ = 8000
SECONDS = 60.0
NEVER = 999
SCHEDULES = 10
RATES = (5.0, 9.0)  # polls a second; at the faster one, quiet is scarce


def first_proof(log_e: Floats) -> int:
    """Polls until the e-value reaches 100; 999 when it never does."""
    reached = np.flatnonzero(log_e >= np.log(100))
    return int(reached[0]) + 1 if len(reached) else NEVER


def polls_needed(seed: int, i_over_n_db: float, background: str, *, free: bool) -> tuple[int, int]:
    """By loudness and by waveform."""
    scene = make_scene(
        seed,
        excess_db=float(10 * np.log10(1 + 10 ** (i_over_n_db / 10))),
        rate_hz=RATE_HZ,
        jitter_s=0.002,
        random_phase=free,
        same=False,
        background=background,
    )
    gate = scene.gate.shifted(scene.latency_s)
    rows = measure_rows(scene.samples, 0, RATE_HZ, gate)
    beside = contrasts(rows, band_bins(rows, Band()))
    loudness = tie_log_e(beside.by_turns, beside.sides, beside.spread)
    waveform = waveform_tie(scene.samples, 0, RATE_HZ, gate, baud=9600)
    return first_proof(loudness), first_proof(waveform.log_e)


def polls_table(runs: int, backgrounds: list[str]) -> None:
    """How many polls each kind of evidence takes."""
    print(f"Median polls to proof over {runs} runs ({NEVER}: not within a minute)")
    print("background  I/N      phase  loudness  waveform  ratio")
    for background in backgrounds:
        for i_over_n_db in (-10.0, -13.0):
            for free in (False, True):
                needed = [polls_needed(seed, i_over_n_db, background, free=free) for seed in range(runs)]
                loud, wave = np.median(needed, axis=0)
                phase = "free" if free else "fixed"
                line = f"{background:<11} {i_over_n_db:.0f} dB   {phase:<6} {loud:8.0f} {wave:9.0f}"
                print(f"{line} {loud / wave:6.1f}", flush=True)


def alarm_table(runs: int, backgrounds: list[str]) -> None:
    """How often noise alone would be called tied."""
    print(f"False alarms of the waveform in {runs} runs of a minute at 1 %, per cent, and the highest odds")
    for background in backgrounds:
        for rate in RATES:
            highest = []
            for run in range(runs):
                seed = run // SCHEDULES
                if not run % SCHEDULES:
                    samples = make_scene(
                        seed, excess_db=None, seconds=SECONDS, rate_hz=RATE_HZ, background=background
                    ).samples
                gate = poll_gate(
                    np.random.default_rng(5000 + run), SECONDS, rate=rate, jitter_s=0.01, same=bool(run % 2)
                )
                highest.append(waveform_tie(samples, 0, RATE_HZ, gate, baud=9600).log_e.max())
            share = 100 * np.mean(np.array(highest) >= np.log(100))
            print(f"{background:<14} {rate:4.0f}/s {share:6.2f} {np.exp(max(highest)):10.1f}", flush=True)


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=24)
    parser.add_argument("--only", choices=("polls", "alarms"), help="one of the two tables")
    parser.add_argument("--backgrounds", nargs="+", choices=NULLS, help="of the audio")
    asked = parser.parse_args()
    if asked.only != "alarms":
        polls_table(asked.runs, asked.backgrounds or ["clean"])
    if asked.only != "polls":
        alarm_table(asked.runs, asked.backgrounds or list(NULLS))


if __name__ == "__main__":
    main()
