"""Progress of work that has several parts."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[float], bool]
"""Told the share done, 0 to 1; answers False to give up."""


def part_of(progress: Progress, begin: float, end: float) -> Progress:
    """The progress of the part of some work that lies between two shares of it."""
    return lambda share: progress(begin + (end - begin) * share)
