"""How small a reaction of the receiver's gain can be told from the quiet between polls: ours, and at best.

    uv run python -m tests.benchmarks.gain [--runs N] [--excess 0.5,1,...] [--seconds S]

A run is one stretch of clean noise with bursts, as it is and through a gain control (5 ms attack, 1 s
release). Ours is `measure.gain.gain_drop`: what it warns of, with the gain control and without. The oracle
knows what nobody knows: the mean course of the gain after a burst, over all runs. It fits that course to the
log power of all the quiet from 8 ms after a poll to 8 ms before the next, and warns above what steady gain
exceeds in 2 % of runs. Drop is how far the gain lies down at the start of the quiet against its end, and the
errors say how uncertain it is in one run.

What limits both is the noise. A minute of it leaves a drop uncertain by 0.05 dB however it is read, and
bursts of 0.5 and 1 dB move the gain by 0.06 and 0.13 dB: the oracle tells 20 and 79 % of them, 95 % from
1.5 dB on. Ours asks for more, so as not to warn falsely in noise that is not clean: 0.5 % by chance instead
of 2 %, and a drop that matters to a reading. It tells 98 % at 2 dB.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from multiprocessing import Pool
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from telltick.measure.frames import Samples
from telltick.measure.gain import GainDrop, gain_drop
from telltick.measure.rows import measure_rows
from telltick.measure.tones import band_bins, tonal_bins
from telltick.model.readings import Band
from telltick.model.traffic import Gate
from tests.scenes import Array, automatic_gain, make_scene

RATE_HZ = 8_000
CELL_S, CLEAR_S = 0.005, 0.008
CELLS = 36  # up to 180 ms after a poll
FALSE_ALARMS = 0.02
FULL_DB = 10 / np.log(10)  # of one neper of power


@dataclass(frozen=True)
class Job:
    excess_db: float
    seconds: float
    seed: int


@dataclass(frozen=True)
class Run:
    """One stretch with a steady gain, and with one that reacts.

    Attributes:
        steady: our drop of the first.
        reacting: our drop of the second.
        steady_log: what `after_polls` tells of the first.
        reacting_log: the same of the second.
        gain_log: the same of the gain itself.
    """

    steady: GainDrop
    reacting: GainDrop
    steady_log: Array
    reacting_log: Array
    gain_log: Array


def measure(job: Job) -> Run:
    scene = make_scene(
        job.seed, excess_db=job.excess_db, seconds=job.seconds, rate_hz=RATE_HZ, jitter_s=0.002
    )
    unit = float(np.median(np.abs(scene.samples))) / 0.6745  # the noise has unit power where gain is set
    audio = scene.samples / unit
    gained = automatic_gain(audio, RATE_HZ)
    gain = np.divide(gained, audio, out=np.ones(len(audio)), where=audio != 0)
    reacting = np.rint(gained * unit).astype(np.int16)
    gate = scene.gate.shifted(scene.latency_s)
    return Run(
        ours(scene.samples, gate),
        ours(reacting, gate),
        after_polls(scene.samples.astype(np.float64) ** 2, gate),
        after_polls(reacting.astype(np.float64) ** 2, gate),
        after_polls(gain**2, gate),
    )


def ours(samples: Samples, gate: Gate) -> GainDrop:
    rows = measure_rows(samples, 0, RATE_HZ, gate)
    return gain_drop(rows, band_bins(rows, Band()) & ~tonal_bins(rows, Band()))


def after_polls(power: Array, gate: Gate) -> Array:
    """Shape (2, `CELLS`): sum of ln power over the cells of 5 ms after polls, and how many they are."""
    per = round(CELL_S * RATE_HZ)
    cells = power[: len(power) // per * per].reshape(-1, per).mean(axis=1)
    begin = np.ceil((gate.poll_end_s[:-1] + CLEAR_S) / CELL_S).astype(int)
    end = np.floor((gate.poll_start_s[1:] - CLEAR_S) / CELL_S).astype(int)
    at = begin[:, None] + np.arange(CELLS)
    inside = at < end[:, None]
    log = np.log(np.maximum(cells[np.minimum(at, len(cells) - 1)], 1e-9))
    return np.stack([(log * inside).sum(axis=0), inside.sum(axis=0)])


def line(excess_db: float, runs: list[Run]) -> str:
    """One row of the table."""
    total, count = np.sum([run.gain_log for run in runs], axis=0)
    course = total / np.maximum(count, 1)
    held = np.flatnonzero(count > 0.5 * count.max())
    drop = float(course[held[-1]] - course[held[0]])
    steady = np.array([fitted(run.steady_log, course) for run in runs]) * drop
    reacting = np.array([fitted(run.reacting_log, course) for run in runs]) * drop
    bar = steady.mean() + NormalDist().inv_cdf(1 - FALSE_ALARMS) * steady.std()
    error = FULL_DB * np.mean([run.reacting.error for run in runs])
    told, false = (percent([getattr(r, n).reacts for r in runs]) for n in ("reacting", "steady"))
    return (
        f"{excess_db:6g} {percent(reacting > bar):9.1f} {told:7.1f} {false:10.2f} {FULL_DB * drop:8.3f}"
        f" {FULL_DB * steady.std():15.3f} {error:10.3f}"
    )


def fitted(log: Array, course: Array) -> float:
    """How much of the course the mean ln power holds, by least squares; each cell weighs by its number."""
    total, count = log
    shape = course - np.average(course, weights=count)
    return float(shape @ total / (count @ shape**2))


def percent(told: npt.ArrayLike) -> float:
    return 100 * float(np.mean(told))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--excess", default="0.5,1,2,3", help="true excess in dB, joined by commas")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--processes", type=int, default=2)
    asked = parser.parse_args()
    print("excess  oracle %  ours %  falsely %  drop dB  oracle's error  our error")
    with Pool(asked.processes) as pool:
        for excess in asked.excess.split(","):
            jobs = [Job(float(excess), asked.seconds, seed) for seed in range(asked.runs)]
            print(line(float(excess), pool.map(measure, jobs, chunksize=4)), flush=True)


if __name__ == "__main__":
    main()
