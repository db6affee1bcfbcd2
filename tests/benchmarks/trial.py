"""The coin trial at audio level: false alarms under continuous watching, and cycles until the proof.

    uv run python -m tests.benchmarks.trial [RUNS]

RUNS are null runs a scene, 500 unless given; a thirtieth of them are made for each strength of interference.
Every run is one minute of receiver audio with five slots of 40 ms in a cycle of 200 ms, the odds looked at
after every cycle. Twenty null runs, each with draws of its own, share one minute of audio: without
interference the audio knows nothing of the draws.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

from telltick.measure.cells import power_cells
from telltick.measure.trial import Draws, LatencyMixture, lags_to_try, poll_shape, slot_levels
from telltick.model.traffic import Gate
from telltick.model.trial import drawn_slot
from tests.scenes import make_scene

RATE, SECONDS, SLOTS, SLOT_S, LATENCY_S = 12_000, 60.0, 5, 0.04, 0.04
NULL_SCENES = ("clean", "hum", "static", "speech", "fading", "agc", "clicks", "speech+static")
TIED_SCENES = ("clean", "hum", "static", "speech", "fading")
RATIOS_DB = (0.0, -6.0, -10.0)


@dataclass(frozen=True)
class Job:
    """One minute of audio: a scene, its I/N (None: nothing), whether the latency is known, sets of draws."""

    scene: str
    ratio_db: float | None
    seed: int
    known: bool = True
    draws: int = 1


def trial_gate(seed: int) -> tuple[Gate, Draws]:
    """A minute of coin trial: one poll of 32 ms in each cycle."""
    cycles = np.arange(int((SECONDS - 2) / (SLOTS * SLOT_S)))
    drawn = np.array([drawn_slot(seed, 0, cycle, SLOTS) for cycle in cycles.tolist()])
    begin_s = 0.7 + cycles * SLOTS * SLOT_S
    sent_s = begin_s + drawn * SLOT_S
    start = np.stack([sent_s, sent_s + 5 / 960 + 0.003], axis=1)
    end = start + np.array([5 / 960, 23 / 960])
    data = (b"RF00;", b"RF00001420000000000000;") * len(cycles)
    rx, poll = np.tile([False, True], len(cycles)), np.repeat(cycles, 2)
    return Gate(start.ravel(), end.ravel(), rx, poll, data), Draws(begin_s, drawn, SLOTS, SLOT_S)


def log_odds(job: Job) -> tuple[Job, list[np.ndarray]]:
    """Log odds after every cycle, for each set of draws."""
    gate, draws = trial_gate(job.seed)
    excess_db = None if job.ratio_db is None else 10 * np.log10(1 + 10 ** (job.ratio_db / 10))
    scene = make_scene(
        job.seed,
        excess_db=excess_db,
        seconds=SECONDS,
        rate_hz=RATE,
        gate=gate,
        background=job.scene,
        jitter_s=0.002,
        latency_s=LATENCY_S,
    )
    cells = power_cells(scene.samples, 0, RATE)
    shape = poll_shape(gate)
    lags = np.array([LATENCY_S]) if job.known else lags_to_try(shape)
    levels = np.stack([slot_levels(cells, draws, shape, lag) for lag in lags])
    use = np.flatnonzero(np.isfinite(levels).all(axis=(0, 2)))
    others = [trial_gate(100_000 + 1000 * job.seed + more)[1].slot for more in range(1, job.draws)]
    return job, [LatencyMixture(lags).add(levels[:, use], slot[use]) for slot in (draws.slot, *others)]


def jobs(runs: int) -> Iterator[Job]:
    """Null runs first, then interference, then interference at a latency that nobody knows."""
    for scene in NULL_SCENES:
        yield from (Job(scene, None, seed, draws=20) for seed in range(-(-runs // 20)))
    for scene in TIED_SCENES:
        for ratio_db in RATIOS_DB:
            yield from (Job(scene, ratio_db, seed) for seed in range(max(runs // 30, 4)))
    for ratio_db in RATIOS_DB:
        yield from (Job("clean", ratio_db, seed, known=False) for seed in range(max(runs // 30, 4)))


def report(results: Iterable[tuple[Job, list[np.ndarray]]]) -> None:
    """Print both tables."""
    grouped: dict[tuple[str, float | None, bool], list[np.ndarray]] = {}
    for job, paths in results:
        grouped.setdefault((job.scene, job.ratio_db, job.known), []).extend(paths)
    print("false alarms under continuous watching, share of runs (of at most 5 % and 1 %)")
    print(f"{'scene':<16}{'runs':>6}{'E >= 20':>10}{'E >= 100':>10}")
    for (scene, ratio_db, _), paths in grouped.items():
        if ratio_db is None:
            highest = np.array([path.max() for path in paths])
            twenty, hundred = (100 * np.mean(highest >= np.log(odds)) for odds in (20, 100))
            print(f"{scene:<16}{len(paths):>6}{twenty:>8.1f} %{hundred:>8.1f} %")
    print("\ncycles until E >= 100, median / nine in ten")
    print(f"{'scene':<16}{'latency':<10}{'I/N dB':>7}{'runs':>6}{'cycles':>12}")
    for (scene, ratio_db, known), paths in grouped.items():
        if ratio_db is not None:
            needed = [
                int(np.argmax(p >= np.log(100))) + 1 if p.max() >= np.log(100) else 10**6 for p in paths
            ]
            half, most = (np.quantile(needed, share, method="higher") for share in (0.5, 0.9))
            words = " / ".join("more" if n == 10**6 else f"{n:.0f}" for n in (half, most))
            print(f"{scene:<16}{'known' if known else 'tried':<10}{ratio_db:>7.0f}{len(paths):>6}{words:>12}")


def main() -> None:
    """Make all runs on all cores and print what they show."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    with ProcessPoolExecutor() as pool:
        report(pool.map(log_odds, jobs(runs), chunksize=2))


if __name__ == "__main__":
    main()
