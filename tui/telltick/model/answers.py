"""What the steps say when they are set against each other: setups, changes, findings, what to test next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from telltick.model.readings import Estimate, Reading


@dataclass(frozen=True)
class SetupReading:
    """All steps with one setup, pooled.

    Attributes:
        setup: factor -> value.
        steps: index of every step that had it, in order of time.
        reading: over all of them together.
        drift_db: widest difference in excess between two of its steps, with its interval; None with one step.
        drifted: the bench changed by itself between steps of this setup: `drift_db` cannot be chance.
        more_s: seconds still needed until the excess is known to within 0.5 dB either way; 0 when it is, None
            when it cannot be told.
    """

    setup: Mapping[str, str]
    steps: tuple[int, ...]
    reading: Reading
    drift_db: Estimate | None = None
    drifted: bool = False
    more_s: float | None = None


class ChangeVerdict(StrEnum):
    """Did a change make a difference?"""

    CHANGED = "changed"
    SAME = "no change"
    UNDECIDED = "undecided"


@dataclass(frozen=True)
class Change:
    """Two setups that differ, set against each other; repeated swaps of the same kind are combined.

    Attributes:
        factors: the factors that differ; one, unless several were changed at once.
        before: factor -> value on the one side.
        after: factor -> value on the other side.
        before_steps: indices of the steps on the one side.
        after_steps: indices of the steps on the other side.
        excess_db: after less before, in dB.
        interference_db: the same of I, where both sides have one or it can be bounded.
        noise_db: the same of N.
        basis: ``interference`` or ``excess``: which of them the verdict rests on; ``noise`` where the setups
            have neither.
        verdict: changed, no change within `bound_db`, undecided.
        bound_db: the equivalence bound.
        p_changed: chance of so large a difference if there were none, corrected (Holm).
        p_same: chance of looking so alike if they differed by the bound (two one-sided tests), corrected.
        swaps: how many swaps between the two values are combined.
        more_polls: polls a side that would probably decide it; None when decided or never.
        because: one sentence with the numbers.
        interference_at_least_db: I changed by at least this, negative when it fell: where one side has none
            that can be told from nothing, and `interference_db` is None. None otherwise.
    """

    factors: tuple[str, ...]
    before: Mapping[str, str]
    after: Mapping[str, str]
    before_steps: tuple[int, ...]
    after_steps: tuple[int, ...]
    excess_db: Estimate | None
    interference_db: Estimate | None
    noise_db: Estimate | None
    basis: str
    verdict: ChangeVerdict
    bound_db: float = 1.0
    p_changed: float | None = None
    p_same: float | None = None
    swaps: int = 1
    more_polls: int | None = None
    because: str = ""
    interference_at_least_db: float | None = None

    @property
    def words(self) -> str:
        """The verdict as it is said: ``changed``, ``no change within 1 dB``, ``undecided``."""
        if self.verdict is ChangeVerdict.SAME:
            return f"no change within {self.bound_db:g} dB"
        return str(self.verdict)


class PathVerdict(StrEnum):
    """What the steps say of a way in."""

    SUPPORTED = "supported"
    RULED_OUT = "ruled out"
    UNDECIDED = "undecided"
    CONTRADICTORY = "contradictory"
    NOT_TESTED = "not tested"


@dataclass(frozen=True)
class Finding:
    """One way in, and what the session says of it.

    Attributes:
        path: short name of the question, stable: scripts rely on it.
        question: as a reader asks it.
        verdict: supported, ruled out, undecided, contradictory, not tested.
        because: one sentence with the numbers.
        reasoning: why such numbers say so, and where that comes from.
        steps: indices of the steps it rests on.
    """

    path: str
    question: str
    verdict: PathVerdict
    because: str
    reasoning: str = ""
    steps: tuple[int, ...] = ()


@dataclass(frozen=True)
class NextTest:
    """A test worth making next.

    Attributes:
        factor: what to change.
        value: what to change it to.
        splits: the paths that the answer would tell apart.
        because: one sentence.
        caution: what to mind while doing it; empty for most.
    """

    factor: str
    value: str
    splits: tuple[str, ...]
    because: str
    caution: str = ""


@dataclass(frozen=True)
class Answers:
    """Everything that the steps of a session say together.

    Attributes:
        setups: one entry a setup, in the order in which they first came.
        changes: one entry a pair of setups that says something.
        findings: one entry a way in.
        next_tests: the best one first.
        comparisons: how many were corrected for.
        warnings: one sentence each.
    """

    setups: tuple[SetupReading, ...] = ()
    changes: tuple[Change, ...] = ()
    findings: tuple[Finding, ...] = ()
    next_tests: tuple[NextTest, ...] = ()
    comparisons: int = 0
    warnings: tuple[str, ...] = ()


NO_ANSWERS = Answers()
