"""What the steps of a session say together: setups, changes, findings, what to test next."""

from __future__ import annotations

from collections.abc import Sequence

from telltick.measure.changes import judged_changes
from telltick.measure.looks import observations
from telltick.measure.next_test import next_tests
from telltick.measure.pathways import findings_of, weighed_paths
from telltick.measure.rows import PollRows
from telltick.measure.setups import pooled_setups, setup_readings
from telltick.measure.stretches import Stretch
from telltick.measure.wording import step_words
from telltick.model.answers import NO_ANSWERS, Answers, SetupReading
from telltick.model.measurement import StepReading
from telltick.model.readings import Latency, TrialReading


def answers_of(
    steps: Sequence[StepReading],
    rows: Sequence[PollRows | None],
    latency: Latency | None,
    *,
    known: Sequence[Stretch | None] | None = None,
    trial: TrialReading | None = None,
    bound_db: float = 1.0,
    over: bool = False,
) -> Answers:
    """Set the steps of a session against each other.

    Args:
        steps: what was measured of each, in order of time.
        rows: the rows of each step, already inside it; None for a step without any, or if let go of.
        latency: of the session; None when none stands out: then only N can be compared.
        known: what was measured of each step already, from rows of a band.
        trial: the coin trial, if there was one.
        bound_db: differences smaller than this count as none.
        over: nothing more can be recorded in this session.

    Raises:
        ValueError: steps and rows are not equally many.
    """
    if len(steps) != len(rows):
        raise ValueError(f"{len(steps)} steps cannot have {len(rows)} sets of rows")
    if not steps:
        return NO_ANSWERS
    setups, drift = pooled_setups(steps, rows, latency, known)
    judged = judged_changes(setups, drift, bound_db)
    changes = tuple(one.change for one in judged)
    weighed = weighed_paths(observations(steps, setups, judged, trial))
    shown = setup_readings(setups, drift)
    return Answers(
        setups=shown,
        changes=changes,
        findings=findings_of(weighed, changes),
        next_tests=next_tests(weighed, setups, over=over),
        comparisons=len(judged),
        warnings=tuple(_warnings(shown)),
    )


def _warnings(setups: Sequence[SetupReading]) -> list[str]:
    said = []
    for one in setups:
        if one.drifted and one.drift_db is not None:
            said.append(
                f"The bench drifted by itself: {step_words(one.steps)} have the same setup, and their excess "
                f"differs by {abs(one.drift_db.value):.1f} dB; intervals are widened by that."
            )
    return said
