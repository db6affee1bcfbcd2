"""What a kill costs: ``python -m tests.benchmarks.kill [--kills 30] [--seed 1]``.

Records the simulated bench and kills the recorder with SIGKILL at random moments. For each: how much sound
lies between the end of what is kept and the kill (the block in hand is 20 ms, the simulated receiver hands
blocks over a little late), whether all that a viewer had seen is there, whether ``telltick check`` finds the
crash and no damage, and whether it measures to the last digit as the same session ended in order.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import numpy as np

from tests.bench_parts.killed import Killed, kill_recorder


def main() -> None:
    """Print one line a kill and a summary."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    moments_s = np.random.default_rng(args.seed).uniform(0.1, 8.0, args.kills)
    print("kill  after s  lost ms  seen kept  crash told  log left  measures the same")
    rows: list[Killed] = []
    with tempfile.TemporaryDirectory() as folder:
        for number, after_s in enumerate(moments_s.tolist(), start=1):
            killed = kill_recorder(Path(folder) / f"s{number}", after_s, seed=number)
            rows.append(killed)
            words = (killed.seen_kept, killed.crash_told, killed.log_left, killed.measures_the_same)
            said = "  ".join(f"{'yes' if word else 'NO':>9}" for word in words)
            print(f"{number:>4} {after_s:>8.2f} {killed.lost_ms:>8.1f}  {said}", flush=True)
    lost = np.array([row.lost_ms for row in rows])
    good = sum(row.seen_kept and row.crash_told and row.measures_the_same for row in rows)
    print(f"{good} of {len(rows)} good; lost: median {np.median(lost):.1f} ms, longest {lost.max():.1f} ms")


if __name__ == "__main__":
    main()
