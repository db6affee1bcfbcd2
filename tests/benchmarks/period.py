"""Rhythms in the audio alone: ``python -m tests.benchmarks.period [--runs 20]``.

A minute of strictly periodic polls with 1 ms of jitter, and audio without any rhythm. Right: within 1 % of
the true period; harmonic: a multiple or a part of it; wrong: neither; silent: none told.
"""

from __future__ import annotations

import argparse

import numpy as np

from telltick.measure.period import find_period
from tests.scenes import make_scene

RATE_HZ = 8000
NULLS = ("clean", "hum", "speech", "static", "fading", "agc", "hum+static", "speech+static")
WITH = (
    ("clean", 5.0, -10.0),
    ("clean", 15.0, -12.0),
    ("clean", 1.0, -3.0),
    ("clean", 1.0, 0.0),
    ("clean", 5.0, 0.0),
    ("clean", 5.0, 20.0),
    ("hum", 5.0, -6.0),
    ("hum", 5.0, 20.0),
    ("speech", 5.0, 0.0),
    ("speech", 1.0, 3.0),
    ("static", 5.0, -3.0),
    ("static", 1.0, 3.0),
    ("fading", 5.0, -6.0),
    ("agc", 5.0, 6.0),
)


def kind_of(seed: int, background: str, rate: float, i_over_n_db: float | None) -> tuple[str, float]:
    """How the answer compares with the truth, and by how much it is off where right."""
    rate *= 1 + 0.05 * np.sin(seed)  # not a round number
    excess_db = None if i_over_n_db is None else float(10 * np.log10(1 + 10 ** (i_over_n_db / 10)))
    scene = make_scene(
        seed,
        excess_db=excess_db,
        rate_hz=RATE_HZ,
        background=background,
        poll_jitter_s=0.0,
        jitter_s=0.001,
        rate=rate,
        same=seed % 2 == 0,
    )
    period = find_period(scene.samples, 0, RATE_HZ)
    if period is None:
        return "silent", np.nan
    if i_over_n_db is None:
        return "wrong", np.nan
    times = period.seconds.value * rate
    if abs(times - 1) < 0.01:
        return "right", abs(times - 1)
    simple = min(
        abs(times * k - round(times * k)) / (times * k) if round(times * k) else 1 for k in (1, 2, 3, 4)
    )
    return ("harmonic" if simple < 0.01 else "wrong"), np.nan


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=20)
    runs = parser.parse_args().runs
    print(f"Per cent of {runs} runs of a minute: right, harmonic, wrong, silent; median error in ppm")
    cases = [(background, 5.0, None) for background in NULLS] + list(WITH)
    for background, rate, i_over_n_db in cases:
        answers = [kind_of(seed, background, rate, i_over_n_db) for seed in range(runs)]
        kinds = [kind for kind, _ in answers]
        shares = [100 * kinds.count(kind) / runs for kind in ("right", "harmonic", "wrong", "silent")]
        errors = [error for _, error in answers if np.isfinite(error)]
        ppm = f"{1e6 * np.median(errors):6.0f}" if errors else "     -"
        truth = "no rhythm" if i_over_n_db is None else f"{rate:.0f}/s {i_over_n_db:.0f} dB"
        print(
            f"{background:<14} {truth:<12}", "  ".join(f"{share:5.1f}" for share in shares), ppm, flush=True
        )


if __name__ == "__main__":
    main()
