"""What another hour of session takes: ``python -m tests.benchmarks.memory [--hours 6 24 72] [--marks 0]``.

Sessions of 48 kHz with 5 polls a second are written to disk, a minute of sound over and over, and measured
by ``telltick measure --json`` in a process of its own. The table tells the highest memory of each, and by
how much it grew for each hour and each poll more than in the session before.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

from tests.benchmarks.speed import Command, write_session

HOUR_S = 3600.0
POLLS_AN_HOUR = 5 * HOUR_S


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, nargs="+", default=[6.0, 24.0, 72.0])
    parser.add_argument("--marks", type=int, default=0, help="changes of the setup in each session")
    args = parser.parse_args()
    print(
        f"{'hours':>6} {'processor s':>12} {'peak MB':>8} {'MB an hour more':>16} {'bytes a poll more':>18}"
    )
    with tempfile.TemporaryDirectory() as place:
        command = Command(Path(place))
        before: tuple[float, float] | None = None
        for hours in sorted(args.hours):
            folder = write_session(Path(place) / f"{hours:g}", hours * HOUR_S, args.marks)
            _, took_s, peak_mb = command.measure(folder)
            grew = ""
            if before is not None:
                an_hour_mb = (peak_mb - before[1]) / (hours - before[0])
                grew = f" {an_hour_mb:16.2f} {an_hour_mb * 2**20 / POLLS_AN_HOUR:18.0f}"
            print(f"{hours:6g} {took_s:12.1f} {peak_mb:8.0f}{grew}", flush=True)
            before = hours, peak_mb


if __name__ == "__main__":
    main()
