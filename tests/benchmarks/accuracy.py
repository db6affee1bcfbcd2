"""Accuracy of the excess over seeded scenes: bias, spread over its limit, coverage of the 95 % interval.

    uv run python -m tests.benchmarks.accuracy [--runs N] [--scenes clean,hum,...] [--excess 6,30]
    uv run python -m tests.benchmarks.accuracy --sweep [--only "duty,baud"]

Each run goes the whole way: cells, latency search, rows, reading; the audio jitters by 2 ms against the gate.
The truth is that of the bins measured (steady tones are left out of both). The limit is the standard
deviation that no method can beat in clean noise, s = I / N:

    4.34 sqrt((1 + 2 s) / ((1 + s)^2 B T_on) + 1 / (B T_off)) dB

A figure that misses its bar (`BIAS_BARS`, `missed`) carries an exclamation mark. With N runs, coverage is
known to about 22 / sqrt(N) %, and the spread to about 71 / sqrt(N) % of itself.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass, field
from multiprocessing import Pool

import numpy as np

from telltick.measure.cells import power_cells
from telltick.measure.latency import find_latency
from telltick.measure.reading import take_reading
from telltick.measure.rows import measure_rows
from telltick.measure.tones import band_bins, tonal_bins
from telltick.model.readings import Band
from tests.scenes import SCENES, Scene, make_scene

EXCESSES_DB = "0.5,1,3,6,10,20,30"
SWEPT_DB = "1,6,20,30"
BIAS_BARS = {"speech": 0.35, "fading": 0.1}  # dB; 0.05 in any other scene, up to 20 dB
SWEEP: dict[str, dict[str, float]] = {
    "burst 5 ms": {"request": 2, "reply": 3, "turnaround_s": 0.0},
    "burst 12 ms": {"request": 3, "reply": 6},
    "burst 20 ms": {"request": 5, "reply": 12},
    "burst 46 ms": {"reply": 37},
    "burst 90 ms": {"reply": 79},
    "1 poll/s": {"rate": 1},
    "2 polls/s": {"rate": 2},
    "10 polls/s": {"rate": 10},
    "20 polls/s": {"rate": 20, "reply": 8, "poll_jitter_s": 0.003},
    "baud 4800": {"baud": 4800},
    "baud 19200": {"baud": 19200},
    "baud 38400": {"baud": 38400, "reply": 60},
    "baud 115200": {"baud": 115200, "reply": 120},
    "duty 50 %": {"reply": 91, "poll_jitter_s": 0.005},
    "duty 65 %": {"reply": 120, "poll_jitter_s": 0.005},
    "duty 80 %": {"reply": 149, "poll_jitter_s": 0.003},
    "back to back": {"rate": 20, "reply": 37, "poll_jitter_s": 0.001},
}
MIXTURES = ("hum+speech", "fading+static", "hum+static+fading", "agc+hum", "agc+static")


@dataclass(frozen=True)
class Job:
    background: str
    excess_db: float
    seconds: float
    seed: int
    polls: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Outcome:
    """One reading held against the truth; NaN where it gave none."""

    error_db: float
    covered: bool
    gain_warned: bool
    limit_db: float


def measure(job: Job) -> Outcome:
    scene = make_scene(
        job.seed,
        excess_db=job.excess_db,
        background=job.background,
        jitter_s=0.002,
        noise_dbfs=-55.0,
        seconds=job.seconds,
        **{name: int(v) if float(v).is_integer() else v for name, v in job.polls.items()},
    )
    cells = power_cells(scene.samples, 0, scene.rate_hz)
    latency = find_latency(cells.power, cells.first, scene.gate)
    shift_s = latency.seconds.value if latency else scene.latency_s
    rows = measure_rows(scene.samples, 0, scene.rate_hz, scene.gate.shifted(shift_s))
    reading = take_reading(rows, latency=latency)
    warned = any("gain gives way" in warning for warning in reading.warnings)
    if reading.excess_db is None:
        return Outcome(np.nan, False, warned, np.nan)
    true_db = scene.excess_in(band_bins(rows, Band()) & ~tonal_bins(rows, Band()))
    found = reading.excess_db
    return Outcome(found.value - true_db, found.low <= true_db <= found.high, warned, limit_of(scene, job))


def limit_of(scene: Scene, job: Job) -> float:
    """The limit for one scene."""
    on_s = float(np.sum(scene.gate.on_s))
    return limit_db(job.excess_db, on_s, job.seconds - on_s)


def limit_db(excess_db: float, on_s: float, off_s: float, width_hz: float = 2400.0) -> float:
    """Standard deviation that no method can beat in clean noise, for a waveform that repeats."""
    s = 10 ** (excess_db / 10) - 1
    return float(4.343 * np.sqrt((1 + 2 * s) / ((1 + s) ** 2 * width_hz * on_s) + 1 / (width_hz * off_s)))


def missed(background: str, excess_db: float, bias: float, over: float, covered: float) -> tuple[bool, ...]:
    """Which of bias, spread over its limit and coverage (in %) miss their bars."""
    names = background.split("+")
    clean, reacts = background == "clean", "agc" in names
    bar = max(BIAS_BARS.get(name, 0.05) for name in names)
    return (
        abs(bias) > bar and excess_db <= 20 and not reacts,
        clean and over > (1.1 if excess_db >= 6 else 1.4),
        (covered < 93 or (clean and covered > 99)) and not reacts,
    )


def line(background: str, excess_db: float, outcomes: list[Outcome]) -> str:
    """One row of the table."""
    error = np.array([o.error_db for o in outcomes])
    told = np.isfinite(error)
    warned = 100 * float(np.mean([o.gain_warned for o in outcomes]))
    head = f"{excess_db:5g} {100 * np.mean(told):5.0f} "
    if not told.any():
        return f"{head}  no reading"
    bias, sd = float(np.mean(error[told])), float(np.std(error[told]))
    over = sd / float(np.nanmean([o.limit_db for o in outcomes]))
    covered = 100 * float(np.mean([o.covered for o in outcomes if np.isfinite(o.error_db)]))
    marks = ["!" if miss else " " for miss in missed(background, excess_db, bias, over, covered)]
    late = warned < 95 if "agc" in background.split("+") else warned > 2
    return (
        f"{head}{bias:+8.3f}{marks[0]} {sd:7.3f} {over:6.2f}{marks[1]} {covered:6.1f}{marks[2]}"
        f" {warned:6.1f}{'!' if late else ' '}"
    )


def cases(asked: argparse.Namespace) -> Iterator[tuple[str, str, dict[str, float]]]:
    """Label, background and polls of each case asked for."""
    if not asked.sweep:
        for scene in asked.scenes.split(","):
            yield scene, scene, {"rate": asked.rate, "reply": asked.reply}
        return
    wanted = asked.only.split(",")
    for label, polls in SWEEP.items():
        if any(part in label for part in wanted):
            for background in asked.scenes.split(","):
                yield f"{label}, {background}", background, polls


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--runs", type=int, default=20)
    parser.add_argument("--sweep", action="store_true", help="burst length, rate, baud and duty")
    parser.add_argument("--only", default="", help="parts of the labels of the sweep")
    parser.add_argument("--scenes", help="joined by commas")
    parser.add_argument("--excess", help="true excess in dB, joined by commas")
    parser.add_argument("--rate", type=float, default=5.0)
    parser.add_argument("--reply", type=int, default=23, help="bytes in a reply: sets the burst length")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--processes", type=int, default=2)
    asked = parser.parse_args()
    asked.scenes = asked.scenes or ("clean" if asked.sweep else ",".join((*SCENES, *MIXTURES)))
    excesses = [float(one) for one in (asked.excess or (SWEPT_DB if asked.sweep else EXCESSES_DB)).split(",")]
    print(f"{'':28s}    dB told%     bias       sd /limit   cover%  AGC warned%")
    with Pool(asked.processes) as pool:
        for label, background, polls in cases(asked):
            for excess in excesses:
                seeds = range(1000, 1000 + asked.runs)
                jobs = [Job(background, excess, asked.seconds, seed, polls) for seed in seeds]
                print(
                    f"{label:28s} {line(background, excess, pool.map(measure, jobs, chunksize=2))}",
                    flush=True,
                )


if __name__ == "__main__":
    main()
