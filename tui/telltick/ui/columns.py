"""A spectrum pooled to the columns of a plot."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from telltick.model.clock import Floats
from telltick.model.readings import Band, Spectrum

LEAST_RISE_DB = 0.7  # averages of so few polls differ by this much without any interference
SHOWN_HZ = (0.0, 3400.0)
SLACK_DB = 6.0  # kept free below the floor


class Columns:
    """A spectrum pooled to the columns of a plot.

    Attributes:
        edges_hz: shape (columns + 1,).
        quiet: shape (columns,), dBFS per bin, as are `active` and `floor`.
        tone: shape (columns,) bool: some bin of the column is left out of the measurement.
    """

    def __init__(self, edges_hz: Floats, quiet: Floats, active: Floats, floor: Floats, tone: Floats) -> None:
        self.edges_hz = edges_hz
        self.quiet, self.active, self.floor = quiet, active, floor
        self.tone: npt.NDArray[np.bool_] = tone > 0

    @classmethod
    def of(cls, spectrum: Spectrum, columns: int, span_hz: tuple[float, float] = SHOWN_HZ) -> Columns:
        """Pool a spectrum.

        Args:
            spectrum: the spectrum.
            columns: how many.
            span_hz: lowest and highest frequency shown.
        """
        freq = spectrum.freq_hz
        edges = np.linspace(*span_hz, max(columns, 1) + 1)
        tonal = np.interp((edges[:-1] + edges[1:]) / 2, freq, spectrum.tonal.astype(np.float64))
        return cls(
            edges,
            pooled_db(freq, spectrum.quiet_dbfs, edges),
            pooled_db(freq, spectrum.active_dbfs, edges),
            pooled_db(freq, spectrum.floor_dbfs, edges),
            np.floor(tonal + 0.5),
        )

    @property
    def centre_hz(self) -> Floats:
        """Shape (columns,): middle of each column."""
        return np.asarray((self.edges_hz[:-1] + self.edges_hz[1:]) / 2, dtype=np.float64)

    @property
    def rise_db(self) -> Floats:
        """Shape (columns,): how far the level rises while bytes flow; NaN where unknown."""
        return self.active - self.quiet

    def at(self, hz: float) -> int | None:
        """The column a frequency falls into; None when it is not shown."""
        k = int(np.searchsorted(self.edges_hz, hz, side="right")) - 1
        return k if 0 <= k < len(self.quiet) else None

    def reach(self, band: Band) -> tuple[float, float]:
        """Lowest and highest level worth showing, by what lies in the band; NaN when there is none."""
        inside = (self.centre_hz >= band.low_hz) & (self.centre_hz <= band.high_hz)
        levels = np.concatenate([self.quiet[inside], self.active[inside]])
        levels = levels[np.isfinite(levels)]
        if not len(levels):
            return math.nan, math.nan
        return float(np.percentile(levels, 5)) - SLACK_DB, float(levels.max()) + 1

    def highest_rise(self, band: Band) -> tuple[float, float] | None:
        """(dB, Hz) of the highest rise within the band; None when there is none."""
        centre = self.centre_hz
        inside = (centre >= band.low_hz) & (centre <= band.high_hz) & ~self.tone & np.isfinite(self.rise_db)
        if not inside.any():
            return None
        at = int(np.argmax(np.where(inside, self.rise_db, -np.inf)))
        rise = float(self.rise_db[at])
        return (rise, float(centre[at])) if rise >= LEAST_RISE_DB else None


def pooled_db(freq_hz: Floats, level_dbfs: Floats, edges_hz: Floats) -> Floats:
    """Mean power per column of a plot, in dB.

    Args:
        freq_hz: shape (bins,), evenly spaced bin centres.
        level_dbfs: shape (bins,), power per bin; NaN where unknown.
        edges_hz: shape (columns + 1,), borders of the columns.

    Returns:
        shape (columns,), dBFS per bin; NaN where nothing is known.
    """
    half = (freq_hz[1] - freq_hz[0]) / 2
    borders = np.append(freq_hz - half, freq_hz[-1] + half)
    known = np.isfinite(level_dbfs)
    power = np.where(known, 10 ** (np.where(known, level_dbfs, 0.0) / 10), 0.0)
    energy = _between(borders, power, edges_hz)
    share = _between(borders, known.astype(np.float64), edges_hz)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(share > 0, 10 * np.log10(energy / share), np.nan)


def _between(borders: Floats, density: Floats, edges: Floats) -> Floats:
    """Integral of a piecewise constant density between edges."""
    total = np.concatenate([[0.0], np.cumsum(density * np.diff(borders))])
    return np.diff(np.interp(edges, borders, total))
