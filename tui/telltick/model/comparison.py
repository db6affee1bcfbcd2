"""Sessions set side by side: what each shows, and what differs between them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from telltick.model.answers import Change
from telltick.model.readings import Reading


@dataclass(frozen=True, kw_only=True)
class SessionLine:
    """One session in a table of many.

    Attributes:
        name: its folder's name.
        bench: the bench's name; empty when it could not be opened.
        started_utc: when it was recorded (ISO 8601); None if unknown.
        seconds: length of the audio.
        steps: how many steps it has.
        whole: reading over all steps.
        top: reading of the setup in which the excess is highest among those tied to polling; None without.
        top_setup: that setup, as far as it differs from the first.
        warnings: one sentence each.
        problem: why it could not be measured; empty when it was.
    """

    name: str
    bench: str = ""
    started_utc: str | None = None
    seconds: float = 0.0
    steps: int = 0
    whole: Reading = field(default_factory=lambda: Reading(0, 0.0))
    top: Reading | None = None
    top_setup: Mapping[str, str] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    problem: str = ""


class Levels(StrEnum):
    """On which scale N and I of two sessions compare."""

    ANTENNA = "dBm at the antenna socket"  # both are calibrated
    AUDIO = "dBFS"  # the same input, and no gain known to differ
    NONE = "not comparable"


@dataclass(frozen=True)
class MatchedSetup:
    """One setup that two sessions have in common.

    Attributes:
        setup: factor -> value, of those in which the setups of the first session differ; empty where there is
            only one.
        before_steps: indices of the steps in the first session.
        after_steps: in the second.
        change: the second session set against the first; None where they cannot be compared.
        levels: the scale on which their N and I compare.
    """

    setup: Mapping[str, str]
    before_steps: tuple[int, ...]
    after_steps: tuple[int, ...]
    change: Change | None
    levels: Levels = Levels.AUDIO


@dataclass(frozen=True)
class SessionPair:
    """Two sessions set against each other.

    Attributes:
        before: index of the first session.
        after: index of the second.
        differing: factor -> (value in the first, value in the second), of factors that stayed the same
            throughout each.
        setups: those in common.
        only_before: setups without a match.
        only_after: likewise of the second.
        notes: one sentence each.
    """

    before: int
    after: int
    differing: Mapping[str, tuple[str, str]]
    setups: tuple[MatchedSetup, ...]
    only_before: tuple[Mapping[str, str], ...] = ()
    only_after: tuple[Mapping[str, str], ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def levels_compare(self) -> bool:
        """Whether N and I compare as levels, on whichever scale, in any setup."""
        return any(one.levels is not Levels.NONE for one in self.setups)


@dataclass(frozen=True)
class SessionComparison:
    """Any number of sessions side by side; the first is the baseline of every pair.

    Attributes:
        sessions: in the order given, or by date.
        pairs: each further session against the first; empty for a table of a whole folder.
        bound_db: differences up to this count as no change.
        comparisons: how many were corrected for (Holm).
    """

    sessions: tuple[SessionLine, ...]
    pairs: tuple[SessionPair, ...] = ()
    bound_db: float = 1.0
    comparisons: int = 0
