"""Axes that hold still: they move only when the data leave them, or use too little of them."""

from __future__ import annotations

import math
from dataclasses import dataclass

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
        """The smallest axis that holds both levels."""
        bottom = math.floor(low_db / 10) * 10.0
        top = math.ceil(high_db / 10) * 10.0
        return cls(bottom, max(top, bottom + least_span_db), least_span_db)

    def holding(self, low_db: float, high_db: float) -> LevelScale:
        """This axis if the levels sit well in it, else one that fits; NaN changes nothing."""
        if not (math.isfinite(low_db) and math.isfinite(high_db)):
            return self
        fitting = LevelScale.around(low_db, high_db, self.least_span_db)
        inside = self.bottom_db <= low_db and high_db <= self.top_db
        # One step of slack: an axis that could just lose ten dB would soon want them back.
        roomy = self.top_db - self.bottom_db - (fitting.top_db - fitting.bottom_db) > 10.0
        return self if inside and not roomy else fitting

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
