"""Station profiles and poll plans: TOML files that an operator writes."""

from __future__ import annotations

from pathlib import Path

from telltick.model.plan import PollPlan, StationProfile
from telltick.store import toml


def load_station(path: Path) -> StationProfile:
    """Read a station profile.

    Raises:
        BadInputError: the file, a key or a value cannot be used; the message names it.
    """
    return toml.load(path, StationProfile, "station profile")


def load_plan(path: Path) -> PollPlan:
    """Read a poll plan: a file of its own, or the ``[poll]`` section of a station profile.

    Raises:
        BadInputError: the file, a key or a value cannot be used; the message names it.
    """
    section = "poll" if toml.has_section(path, "poll", "poll plan") else None
    return toml.load(path, PollPlan, "poll plan", section)
