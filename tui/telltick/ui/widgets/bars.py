"""Intervals drawn on a scale: where the value lies, how far it may be off, and what it is held against."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from telltick.model.readings import Estimate
from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import Role, Row, Run, row
from telltick.ui.scales import REACHES_DB


@dataclass(frozen=True)
class Span:
    """A scale whose steps are all alike, from `low` to `high` in dB."""

    low: float
    high: float

    def share(self, value: float) -> float:
        """Where a value lies: 0 at the left end, 1 at the right one."""
        return (value - self.low) / (self.high - self.low)


@dataclass(frozen=True)
class Stretched:
    """A scale about zero that shows small differences as well as large ones.

    It is even up to about `bound`, then ever tighter (inverse hyperbolic sine).

    Attributes:
        reach: value at both ends, in dB.
        bound: value up to which it is about even, in dB.
    """

    reach: float
    bound: float

    def share(self, value: float) -> float:
        """Where a value lies: 0 at the left end, 1 at the right one."""
        return 0.5 + 0.5 * math.asinh(value / self.bound) / math.asinh(self.reach / self.bound)


Scale = Span | Stretched


def reach_for(largest_db: float) -> float:
    """The smallest usual reach of a scale that holds a value."""
    return next((reach for reach in REACHES_DB if largest_db <= reach), REACHES_DB[-1])


def place(value: float, scale: Scale, length: int) -> int:
    """Cell of a value on a scale of `length` cells; values beyond an end lie on it."""
    share = scale.share(value)
    return min(max(round(share * (length - 1)), 0), length - 1)


def bar(
    estimate: Estimate | None,
    scale: Scale,
    length: int,
    glyphs: Glyphs,
    *,
    role: Role = Role.NUMBER,
    signs: Mapping[float, str] | None = None,
) -> Row:
    """An interval on a scale, `length` cells wide.

    Args:
        estimate: value and interval; None draws the empty scale.
        scale: the scale.
        length: cells.
        glyphs: the characters to draw with.
        role: colour of the interval.
        signs: value -> character: what the interval is held against, seen where it does not lie.
    """
    if length <= 0:
        return ()
    cells = [Run(glyphs.track, Role.RULE)] * length
    for value, sign in (signs or {}).items():
        cells[place(value, scale, length)] = Run(sign, Role.LABEL)
    if estimate is not None and all(map(math.isfinite, (estimate.low, estimate.value, estimate.high))):
        for x in range(place(estimate.low, scale, length), place(estimate.high, scale, length) + 1):
            cells[x] = Run(glyphs.bar, role)
        cells[place(estimate.value, scale, length)] = Run(glyphs.bar_at, role)
    return row(*cells)


def axis(values: Mapping[float, str], scale: Scale, length: int) -> Row:
    """Labels under a scale, each centred on its value; those that would touch another are left out."""
    text = [" "] * length
    for value, label in values.items():
        start = min(max(place(value, scale, length) - len(label) // 2, 0), max(length - len(label), 0))
        around = text[max(start - 1, 0) : start + len(label) + 1]
        if len(label) <= length and not "".join(around).strip():
            text[start : start + len(label)] = label
    return row(Run("".join(text), Role.LABEL))
