"""Accuracy of the excess over seeded scenes: bias, r.m.s. error, coverage of the 95 % interval, warnings.

    uv run python -m tests.benchmarks.accuracy [--runs N] [--scenes clean,hum,...] [--rates 5] [--seconds 60]

Each run goes the whole way: cells, latency search, rows, reading; the audio jitters by 2 ms against the gate.
The truth is that of the bins measured (steady tones are left out of both). The last lines tell the limit that
no method can beat in clean noise: 4.34 sqrt((1 + 2 s) / ((1 + s)^2 B T_on) + 1 / (B T_off)) dB, s = I / N.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from multiprocessing import Pool

import numpy as np

from telltick.measure.cells import power_cells
from telltick.measure.latency import find_latency
from telltick.measure.reading import take_reading
from telltick.measure.rows import measure_rows
from telltick.measure.tones import band_bins, tonal_bins
from telltick.model.readings import Band
from tests.scenes import SCENES, make_scene

EXCESSES_DB = (0.5, 1.0, 3.0, 6.0, 10.0, 20.0, 30.0)


@dataclass(frozen=True)
class Job:
    background: str
    excess_db: float
    rate: float
    seconds: float
    seed: int
    reply: int = 23


@dataclass(frozen=True)
class Outcome:
    """One reading held against the truth; NaN where it gave none."""

    error_db: float
    covered: bool
    half_width_db: float
    gain_warned: bool
    tied: bool


def measure(job: Job) -> Outcome:
    scene = make_scene(
        job.seed,
        excess_db=job.excess_db,
        background=job.background,
        jitter_s=0.002,
        noise_dbfs=-55.0,
        seconds=job.seconds,
        rate=job.rate,
        reply=job.reply,
    )
    cells = power_cells(scene.samples, 0, scene.rate_hz)
    latency = find_latency(cells.power, cells.first, scene.gate)
    shift_s = latency.seconds.value if latency else scene.latency_s
    rows = measure_rows(scene.samples, 0, scene.rate_hz, scene.gate.shifted(shift_s))
    reading = take_reading(rows, latency=latency)
    warned = any("gain" in warning for warning in reading.warnings)
    if reading.excess_db is None:
        return Outcome(np.nan, False, np.nan, warned, False)
    true_db = scene.excess_in(band_bins(rows, Band()) & ~tonal_bins(rows, Band()))
    found = reading.excess_db
    return Outcome(
        found.value - true_db,
        found.low <= true_db <= found.high,
        (found.high - found.low) / 2,
        warned,
        reading.verdict == "tied to polling",
    )


def limit_db(excess_db: float, on_s: float, off_s: float, width_hz: float = 2400.0) -> float:
    """Standard deviation that no method can beat in clean noise, for a waveform that repeats."""
    s = 10 ** (excess_db / 10) - 1
    return float(4.343 * np.sqrt((1 + 2 * s) / ((1 + s) ** 2 * width_hz * on_s) + 1 / (width_hz * off_s)))


def table(jobs: list[Job], processes: int = 2) -> dict[tuple[str, float], list[Outcome]]:
    with Pool(processes) as pool:
        outcomes = pool.map(measure, jobs, chunksize=2)
    out: dict[tuple[str, float], list[Outcome]] = {}
    for job, outcome in zip(jobs, outcomes, strict=True):
        out.setdefault((job.background, job.excess_db), []).append(outcome)
    return out


def line(outcomes: list[Outcome]) -> str:
    error = np.array([o.error_db for o in outcomes])
    if np.all(np.isnan(error)):
        return "       no reading        "
    bias, rms = np.nanmean(error), np.sqrt(np.nanmean(error**2))
    covered = 100 * np.mean([o.covered for o in outcomes if np.isfinite(o.error_db)])
    return f"{bias:+.3f} {np.nanstd(error):.3f} {rms:.3f} {covered:4.0f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=20)
    parser.add_argument("--scenes", default=",".join(SCENES))
    parser.add_argument("--rates", default="5")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--reply", type=int, default=23, help="bytes in a reply: sets the burst length")
    asked = parser.parse_args()
    print("bias, sd, r.m.s. in dB and coverage in %; then share of runs warned of reacting gain control")
    print(f"{'scene':14s} {'/s':>4s} " + " ".join(f"{excess:>12g} dB          " for excess in EXCESSES_DB))
    for rate in (float(one) for one in asked.rates.split(",")):
        for scene in asked.scenes.split(","):
            seeds = range(1000, 1000 + asked.runs)
            jobs = [
                Job(scene, excess, rate, asked.seconds, seed, asked.reply)
                for excess in EXCESSES_DB
                for seed in seeds
            ]
            results = table(jobs, asked.processes)
            cells = " | ".join(line(results[scene, excess]) for excess in EXCESSES_DB)
            warned = "/".join(
                f"{100 * np.mean([o.gain_warned for o in results[scene, excess]]):.0f}"
                for excess in EXCESSES_DB
            )
            print(f"{scene:14s} {rate:4g} {cells}  warned {warned} %", flush=True)
        on_s = (5 + asked.reply) / 960 * rate * asked.seconds
        limits = " ".join(f"{limit_db(e, on_s, asked.seconds - on_s):>24.3f}" for e in EXCESSES_DB)
        print(f"{'limit sd':19s} {limits}")


if __name__ == "__main__":
    main()
