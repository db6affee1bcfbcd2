"""How faint interference averaging brings out: ``python -m tests.benchmarks.coherent [--runs 24]``.

A hundred replies of 24 ms with the same bytes, in noise. The I/N at which half of the runs show it at the 5 %
level (1.645 standard errors): by energy (rise over the quiet beside), by what the bursts share as timed, and
by what they share when each is moved and turned to fit. With exact stamps, with stamps 0.1 and 1 ms off, and
picked up at radio frequency. The last column is how many runs of noise alone pass, per cent.

In theory, for n bursts of nu lines, half pass at I/N = 1.645 sqrt(2 / (nu n)) by energy, the quiet being as
noisy as the bursts, and at 1.645 sqrt(2 / (nu n (n - 1))) by what they share.
"""

from __future__ import annotations

import argparse
from itertools import pairwise

import numpy as np

from telltick.measure.coherent import MANNERS, Alike, alike_bursts, shared_power
from telltick.measure.robust import jackknife_error
from tests.scenes import Scene, make_scene

RATE_HZ = 8000
BURSTS = 100
SECONDS = 20.5
LEVEL = 1.645  # standard errors
GRID_DB = np.arange(-32.0, 5.0, 2.0)
KINDS = {
    "exact": {"jitter_s": 0.0, "random_phase": False},
    "0.1 ms off": {"jitter_s": 0.0001, "random_phase": False},
    "1 ms off": {"jitter_s": 0.001, "random_phase": False},
    "radio, exact": {"jitter_s": 0.0, "random_phase": True},
    "radio, 1 ms": {"jitter_s": 0.001, "random_phase": True},
}


def replies(scene: Scene, i_over_n_db: float) -> Alike:
    """The replies of a scene of I = N, its interference brought to another level."""
    gain = 10 ** (i_over_n_db / 20) - 1
    samples = np.rint(scene.samples + gain * scene.hash_samples).astype(np.int16)
    groups = alike_bursts(samples, 0, RATE_HZ, scene.gate.shifted(scene.latency_s))
    return max(groups, key=lambda one: one.on_s)


def energy_sure(alike: Alike) -> float:
    """Standard errors by which bursts are louder than the quiet beside them.

    One floor for all lines: weighed with the quiet's own mean, line by line, bursts would seem louder.
    """
    rise = np.sum(np.abs(alike.heard) ** 2 - np.abs(alike.quiet) ** 2, axis=1)
    edges = np.linspace(0, len(rise), 21).astype(int)
    without = np.array([np.delete(rise, np.s_[a:b]).mean() for a, b in pairwise(edges)])
    return float(rise.mean() / jackknife_error(without))


def sure_by_each(alike: Alike, manner: int) -> tuple[float, float, float]:
    """By energy, as timed, and with what the kind of scene needs left free."""
    return energy_sure(alike), shared_power(alike, MANNERS[0]).sure, shared_power(alike, MANNERS[manner]).sure


def limits(runs: int, jitter_s: float, *, random_phase: bool) -> tuple[list[float], list[float]]:
    """I/N at which half the runs pass, and the share of runs of noise alone that do; for each way."""
    manner = 2 * (jitter_s > 0) + random_phase
    passed = np.zeros((len(GRID_DB) + 1, 3))
    for seed in range(runs):
        scene = make_scene(
            seed,
            excess_db=float(10 * np.log10(2)),
            seconds=SECONDS,
            rate_hz=RATE_HZ,
            jitter_s=jitter_s,
            random_phase=random_phase,
        )
        for at, i_over_n_db in enumerate([*GRID_DB, -200.0]):
            passed[at] += np.array(sure_by_each(replies(scene, i_over_n_db), manner)) > LEVEL
    share = np.maximum.accumulate(passed[:-1] / runs) + 1e-9 * np.arange(len(GRID_DB))[:, None]
    half = [float(np.interp(0.5, way, GRID_DB, right=np.inf)) for way in share.T]
    return half, (100 * passed[-1] / runs).tolist()


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=24)
    runs = parser.parse_args().runs
    lines = 2400 * 0.035
    by_energy, by_sharing = np.sqrt(2 / lines / BURSTS), np.sqrt(2 / lines / BURSTS / (BURSTS - 1))
    wide = 0.035 / 0.024  # the window is longer than the burst
    theory = [float(10 * np.log10(LEVEL * one * wide)) for one in (by_energy, by_sharing)]
    print(f"I/N in dB at which half of {runs} runs show at 5 %; runs of noise alone that do, per cent")
    print(f"in theory       by energy {theory[0]:6.1f}   shared, as timed {theory[1]:6.1f}")
    for name, kind in KINDS.items():
        half, alarms = limits(runs, **kind)
        told = (
            f"{name:<15} by energy {half[0]:6.1f}   shared, as timed {half[1]:6.1f}   fitted {half[2]:6.1f}"
        )
        print(told, "  noise alone", " ".join(f"{one:3.0f}" for one in alarms), flush=True)


if __name__ == "__main__":
    main()
