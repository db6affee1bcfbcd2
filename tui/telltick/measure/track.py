"""The latency as it wanders: estimates from stretches of one capture run, joined by straight lines.

Crystals differ by tens of millionths and change with temperature. Each stretch of a minute tells the latency
of its middle to a fraction of a millisecond; between stretches it is read from straight lines, beyond them
from a robust line through the nearest five minutes.
"""

from __future__ import annotations

from bisect import insort

import numpy as np

from telltick.measure.drift import MOST_PPM, pair_slopes
from telltick.model.clock import Floats

APART_S = 20.0  # estimates nearer to each other share most of their audio
_LINE_S = 300.0  # of estimates that tell the slope beyond the last one
_LEAST_SPAN_S = 40.0  # below this a slope would be chance
_LEAST_POINTS = 3
_Lines = tuple[Floats, Floats, tuple[float, float]]


class LatencyTrack:
    """Latency against serial time within one capture run."""

    def __init__(self) -> None:
        self._points: list[tuple[float, float]] = []
        self._lines: _Lines | None = None
        self.changes = 0  # so often has it become another

    def __len__(self) -> int:
        return len(self._points)

    def clear(self) -> None:
        """Forget all estimates."""
        self._points = []
        self._changed()

    def add(self, at_s: float, latency_s: float) -> None:
        """Note the latency of a stretch.

        Args:
            at_s: the stretch's middle, in seconds of serial time.
            latency_s: what was found in it. It replaces the newest estimate where that is less than
                `APART_S` away from the one before.
        """
        points = self._points
        newer = len(points) > 1 and at_s >= points[-1][0]
        if newer and points[-1][0] - points[-2][0] < APART_S:
            points.pop()
        insort(points, (at_s, latency_s))
        self._changed()

    def shift_s(self, serial_s: Floats) -> Floats:
        """Latency at serial times; 0 while nothing is known."""
        if not self._points:
            return np.zeros(np.shape(serial_s))
        at, latency, slopes = self._lines = self._lines or self._drawn()
        serial = np.asarray(serial_s, dtype=np.float64)
        inside = np.interp(serial, at, latency)
        before, after = np.minimum(serial - at[0], 0.0), np.maximum(serial - at[-1], 0.0)
        return np.asarray(inside + before * slopes[0] + after * slopes[1])

    def drift_ppm(self) -> float | None:
        """Drift of the audio clock against the serial clock over the last minutes; None where not known."""
        slope = self._slope(self._points[-1][0]) if self._points else 0.0
        return 1e6 * slope if slope else None

    def _changed(self) -> None:
        self._lines, self.changes = None, self.changes + 1

    def _drawn(self) -> _Lines:
        """The estimates and the slopes beyond the first and the last; a day has thousands of them."""
        at, latency = (np.array(column) for column in zip(*self._points, strict=True))
        return at, latency, (self._slope(at[0]), self._slope(at[-1]))

    def _slope(self, near_s: float) -> float:
        """Seconds of latency per second at one end."""
        points = [point for point in self._points if abs(point[0] - near_s) <= _LINE_S]
        if len(points) < _LEAST_POINTS or points[-1][0] - points[0][0] < _LEAST_SPAN_S:
            return 0.0
        at, latency = (np.array(column) for column in zip(*points, strict=True))
        return float(np.clip(np.median(pair_slopes(at, latency)), -1e-6 * MOST_PPM, 1e-6 * MOST_PPM))
