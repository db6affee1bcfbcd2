"""In-band audio power on a coarse grid, for drawing."""

from __future__ import annotations

import numpy as np

from telltick.measure.cells import CELL_S
from telltick.measure.frames import Powers
from telltick.model.clock import Floats


def envelope(cells: Powers, first_cell: int, start_s: float, step_s: float, count: int) -> Floats:
    """Mean power re a full-scale sine in `count` steps of audio time; NaN where there are no cells.

    Args:
        cells: shape (n,), power of 1 ms cells.
        first_cell: number of the first one.
        start_s: audio time at which the first step starts.
        step_s: length of a step, in seconds.
        count: number of steps.
    """
    edges = np.rint((start_s + step_s * np.arange(count + 1)) / CELL_S).astype(int) - first_cell
    edges = np.clip(edges, 0, len(cells))
    total = np.concatenate([[0.0], np.cumsum(cells, dtype=np.float64)])
    held = np.diff(edges)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.diff(total[edges]) / held)
