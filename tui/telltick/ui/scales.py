"""Axes that hold still: they move only when the data leave them, or use too little of them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from telltick.model.readings import Estimate, Reading

STEP_DB = 10.0
REACHES_DB = (3.0, 6.0, 12.0, 24.0, 48.0)


@dataclass(frozen=True)
class LevelScale:
    """A vertical axis in dB, on whole tens.

    Attributes:
        bottom_db: level of the plot's lower edge.
        top_db: level of its upper edge.
        least_span_db: never shows less than this.
    """

    bottom_db: float
    top_db: float
    least_span_db: float = 30.0

    @classmethod
    def around(cls, low_db: float, high_db: float, least_span_db: float) -> LevelScale:
        """The smallest axis that holds both levels; any axis where they are NaN."""
        if not (math.isfinite(low_db) and math.isfinite(high_db)):
            return cls(-least_span_db, 0.0, least_span_db)
        bottom = math.floor(low_db / STEP_DB) * STEP_DB
        top = math.ceil(high_db / STEP_DB) * STEP_DB
        return cls(bottom, max(top, bottom + least_span_db), least_span_db)

    def holding(self, low_db: float, high_db: float) -> LevelScale:
        """This axis, stretched if need be, or a new one when much of it is not used; NaN changes nothing."""
        if not (math.isfinite(low_db) and math.isfinite(high_db)):
            return self
        fitting = LevelScale.around(low_db, high_db, self.least_span_db)
        bottom, top = min(self.bottom_db, fitting.bottom_db), max(self.top_db, fitting.top_db)
        stretched = LevelScale(bottom, top, self.least_span_db)
        # Levels that wander across a ten must not make the axis jump: it keeps one spare step at each end.
        return fitting if stretched.span_db - fitting.span_db > 2 * STEP_DB else stretched

    @property
    def span_db(self) -> float:
        """From edge to edge."""
        return self.top_db - self.bottom_db

    def rows(self, level_db: float, height: int) -> float:
        """How many rows above the lower edge a level lies, within a plot of `height` rows."""
        if not math.isfinite(level_db):
            return math.nan
        share = (level_db - self.bottom_db) / (self.top_db - self.bottom_db)
        return min(max(share * height, -1.0), float(height))


def level_ticks(scale: LevelScale, height: int) -> list[float]:
    """Levels to label on an axis: every ten dB, or twenty where rows are few."""
    rows_per_ten = height * 10 / (scale.top_db - scale.bottom_db)
    step = 10 if rows_per_ten >= 2 else 20 if rows_per_ten >= 1 else 40
    first = math.ceil(scale.bottom_db / step) * step
    return [float(level) for level in range(int(first), int(scale.top_db) + 1, step)]


class Still:
    """Numbers that stand still: a new value is shown once it is off by more than the last digit's wobble."""

    def __init__(self, within_db: float = 0.08) -> None:
        """Prepare to hold.

        Args:
            within_db: changes up to this are not shown.
        """
        self._within_db = within_db
        self._shown: dict[str, float] = {}

    def value(self, name: str, value: float | None) -> float | None:
        """What to show of a number that is now `value`; None and NaN pass and are forgotten."""
        if value is None or not math.isfinite(value):
            self._shown.pop(name, None)
            return value
        if abs(value - self._shown.get(name, math.inf)) > self._within_db:
            self._shown[name] = value
        return self._shown[name]

    def reading(self, name: str, reading: Reading) -> Reading:
        """A reading with every number held still."""

        def still(part: str, value: float | None) -> float | None:
            return self.value(f"{name} {part}", value)

        excess = reading.excess_db
        held = [still(part, getattr(excess, part, None)) for part in ("value", "low", "high")]
        return replace(
            reading,
            excess_db=None if excess is None else Estimate(*(value or 0.0 for value in held)),
            noise_dbfs=still("noise", reading.noise_dbfs),
            interference_dbfs=still("interference", reading.interference_dbfs),
            i_over_n_db=still("ratio", reading.i_over_n_db),
            upper_limit_i_over_n_db=still("limit", reading.upper_limit_i_over_n_db),
        )


def held_reach(current_db: float, needed_db: float) -> float:
    """Upper end of the meter's scale: grows at once, shrinks only when three quarters stand empty.

    Args:
        current_db: the reach in use, one of `REACHES_DB`.
        needed_db: the largest value to show.
    """
    fitting = next((reach for reach in REACHES_DB if needed_db <= reach), REACHES_DB[-1])
    if fitting > current_db or needed_db < current_db / 4:
        return fitting
    return current_db
