"""A day in a few minutes: ``python -m tests.benchmarks.soak [--hours 24] [--rate 12000]``.

The real recorder is fed as fast as it takes sound and polls, while a viewer follows the session as the
screen does. Prints, each quarter of an hour of the session, the memory of both, their open files, the
write-ahead log and the files on disk; then whether anything grew that should not, whether sizes are as
predicted, and whether every border between segments is exact to the sample.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path
from statistics import median

from tests.bench_parts.soaked import AHEAD_S, Row, misplaced_samples, soaking

EVERY_S = 900
EARLY_S = 300
HEADER_BYTES = 44
SEGMENT_S = 600


def main() -> None:
    """Print the table and the verdicts."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=24.0)
    parser.add_argument("--rate", type=int, default=12_000, help="sample rate, Hz")
    parser.add_argument("--every", type=int, default=EVERY_S, help="seconds of session between two lines")
    parser.add_argument(
        "--ahead", type=int, default=AHEAD_S, help="seconds of session to one look; more is quicker"
    )
    args = parser.parse_args()
    seconds = round(args.hours * 3600)
    with tempfile.TemporaryDirectory(prefix="soak-") as place:
        folder = Path(place) / "s"
        folder.mkdir(mode=0o700)
        rows = soak(folder, seconds, args)
        print_verdicts(folder, rows, seconds, args.rate)


def soak(folder: Path, seconds: int, args: argparse.Namespace) -> list[Row]:
    """Every row seen; prints one now and then."""
    print("session h  recorder MB  viewer MB  open files  log MB  journal MB   audio MB")
    rows: list[Row] = []
    next_s = 0.0
    with soaking(folder, seconds, args.rate, args.ahead) as seen:
        for row in seen:
            rows.append(row)
            if row.session_s >= next_s:
                next_s = row.session_s - row.session_s % args.every + args.every
                print_row(row)
    print_row(rows[-1])
    return rows


def print_row(row: Row) -> None:
    """One line of the table."""
    print(
        f"{row.session_s / 3600:>9.2f} {row.recorder_mb:>12.1f} {row.viewer_mb:>10.1f} {row.descriptors:>11}"
        f" {row.log_mb:>7.2f} {row.journal_mb:>11.2f} {row.audio_bytes / 1e6:>10.1f}",
        flush=True,
    )


def print_verdicts(folder: Path, rows: list[Row], seconds: int, rate_hz: int) -> None:
    """What grew, and whether the files are as predicted."""
    settled = [row for row in rows if row.session_s >= 60]
    for name in ("recorder_mb", "viewer_mb"):
        values = [getattr(row, name) for row in settled]
        early = median(value for row, value in zip(settled, values, strict=True) if row.session_s < EARLY_S)
        late = median(values[-len(values) // 10 :])
        print(
            f"{name[:-3]}: {early:.1f} MB in the first minutes, {late - early:+.1f} MB in the last tenth "
            f"(medians); for a moment at most {max(values) - early:+.1f} MB"
        )
    files = [row.descriptors for row in settled]
    print(f"open files: {min(files)} to {max(files)}; log: at most {max(row.log_mb for row in rows):.2f} MB")
    audio = sum(path.stat().st_size for path in (folder / "audio").iterdir())
    segments = -(-seconds // SEGMENT_S)
    predicted = 2 * rate_hz * seconds + HEADER_BYTES * segments
    print(f"audio: {audio} bytes, predicted {predicted}")
    print(f"samples misplaced at {segments} segment borders: {misplaced_samples(folder, seconds, rate_hz)}")


if __name__ == "__main__":
    main()
