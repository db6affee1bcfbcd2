"""A bench that drifts by itself: how often do the intervals of a difference hold what is true?

``python -m tests.benchmarks.drift [--benches 2000]``. Each bench has two setups that do not differ, come back
to so many times; steps are known to 0.1 dB from ten pieces of data each, and drift by so many times that.
Printed: the share of 95 % intervals of the difference that hold zero, and their median half width in dB.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator

import numpy as np

from telltick.measure.changes import judged_changes
from telltick.measure.equivalence import Mean
from telltick.measure.setups import Setup, drift_of
from telltick.measure.sides import Side
from telltick.model.readings import Reading

ERROR_DB, DOF = 0.1, 9
RETURNS = {"A-B-A": (2, 1), "A-B-A-B": (2, 2), "three of each": (3, 3), "four of each": (4, 4)}
DRIFTS = (0.0, 0.5, 1.0, 2.0, 4.0)


def held(returns: tuple[int, int], drift_db: float, benches: int, seed: int = 1) -> tuple[float, float]:
    """Share of intervals that hold zero, and their median half width in dB."""
    rng = np.random.default_rng(seed)
    found = [_difference(_bench(returns, drift_db, rng)) for _ in range(benches)]
    hits = [low <= 0 <= high for low, high in found]
    return float(np.mean(hits)), float(np.median([high - low for low, high in found])) / 2


def _difference(bench: list[Setup]) -> tuple[float, float]:
    (one,) = judged_changes(bench, drift_of(bench), 1.0)
    assert one.change.excess_db is not None
    return one.change.excess_db.low, one.change.excess_db.high


def _bench(returns: tuple[int, int], drift_db: float, rng: np.random.Generator) -> list[Setup]:
    """Two setups; their steps alternate."""
    out = []
    for number, count in enumerate(returns):
        errors = ERROR_DB * np.sqrt(rng.chisquare(DOF, count) / DOF)
        values = 6 + rng.normal(0, drift_db, count) + rng.normal(0, ERROR_DB, count)
        each = tuple(_side(*one) for one in zip(values, errors, strict=True))
        pooled = _side(values.mean(), float(np.sqrt(np.mean(errors**2) / count)), DOF * count)
        said = {"cable": "AB"[number]}
        steps = tuple(range(number, number + 2 * count, 2))
        out.append(Setup(said, said, steps, pooled, each, Reading(50, 10.0)))
    return out


def _side(excess_db: float, error_db: float, dof: float = DOF) -> Side:
    return Side(50, 10.0, None, None, Mean(float(excess_db), float(error_db), dof))


def rows(benches: int) -> Iterator[str]:
    """The table."""
    yield f"{'drift / error of a step':24}" + "".join(f"{drift:>16g}" for drift in DRIFTS)
    for name, returns in RETURNS.items():
        cells = [held(returns, ERROR_DB * drift, benches) for drift in DRIFTS]
        yield f"{name:24}" + "".join(f"{share:>9.1%} {half:6.2f}" for share, half in cells)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--benches", type=int, default=2000)
    for line in rows(parser.parse_args().benches):
        print(line, flush=True)
