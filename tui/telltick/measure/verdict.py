"""Where the verdict comes from when more than one look at the same session can give it.

A coin trial is the stronger proof: its draws are random, so that no rhythm of the noise can follow them. A
reading compares polls with the quiet beside them, which noise in step with the polls could mislead. And a
window that slides begins its evidence anew at every look; watched long enough, it would find a tie in
anything. So

    a reading over the stretch of a trial is judged by `verdict_with_trial`,
    a trial is cut to the stretch of a step by `trial_between`,
    a sliding window takes its verdict from the step around it by `judged_by`,
    a stretch with polling off is a control by `as_control`, and needs no polls.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from telltick.measure.reading import LEVEL, STEADY
from telltick.measure.trial import MIN_CYCLES
from telltick.measure.vocabulary import POLLING, Kind, kind_of
from telltick.model.readings import Reading, TrialReading, Verdict

_WITHOUT_POLLS = (Verdict.TOO_FEW, Verdict.CONTROL)
NOT_BY_THE_COIN = (
    "What is heard at the steady polls does not follow the draws of the coin trial: something else keeps "
    "step with the polls."
)


def verdict_with_trial(reading: Reading, trial: TrialReading | None) -> Reading:
    """A reading with the verdict that it and a coin trial of the same stretch give together.

    Half of the stake lies on the trial and half on the reading, so that chance alone still says "tied" in at
    most 1 % of sessions: p = 2 min(p of the trial, p of the reading). Where the trial bounds the difference
    below the excess of the reading, the polls do not make what the reading hears, and there is no tie. Where
    the trial proves the tie, it no longer matters that the rhythm alone could not.

    Args:
        reading: what `take_reading` returned.
        trial: of the same stretch; None, or one of fewer than ten cycles, leaves the reading as it is.
    """
    if trial is None or trial.cycles < MIN_CYCLES or reading.verdict in _WITHOUT_POLLS:
        return reading
    if trial.p_value > LEVEL / 2 and _bounded_below(trial, reading):
        return _judged(replace(reading, warnings=(*reading.warnings, NOT_BY_THE_COIN)), Verdict.NO_TIE, 1.0)
    own = 1.0 if reading.p_value is None else reading.p_value
    p_value = min(1.0, 2 * min(own, trial.p_value))
    tied = p_value <= LEVEL and (reading.verdict is Verdict.TIED or trial.p_value <= LEVEL / 2)
    if trial.p_value <= LEVEL / 2:  # drawn by lot: no rhythm can follow that
        reading = replace(reading, warnings=tuple(one for one in reading.warnings if one != STEADY))
    return _judged(reading, Verdict.TIED if tied else Verdict.NO_TIE, p_value)


def judged_by(window: Reading, step: Reading) -> Reading:
    """The reading of a sliding window with the verdict of the step that the window lies in.

    N, I and the excess are the window's own; whether they are tied to polling is told by the evidence of the
    whole step, which holds at every moment.
    """
    if step.verdict is Verdict.CONTROL:
        return _judged(window, step.verdict, None)
    if Verdict.TOO_FEW in (window.verdict, step.verdict):
        return window if window.verdict is Verdict.TOO_FEW else _judged(window, Verdict.TOO_FEW, None)
    return _judged(window, step.verdict, step.p_value)


def as_control(reading: Reading, setup: Mapping[str, str]) -> Reading:
    """A reading of a stretch without polls as a control, where the setup says that polling was off.

    Its N is what the other stretches are held against; to ask for more polls would be wrong.
    """
    if reading.polls or kind_of(POLLING, setup.get(POLLING, "")) is not Kind.OFF:
        return reading
    return replace(reading, verdict=Verdict.CONTROL, warnings=())


def trial_between(trial: TrialReading | None, start_ns: int, end_ns: int) -> TrialReading | None:
    """The cycles of a trial that end within a stretch of session time; None where none do.

    The odds gained from one cycle to a later one are odds against chance by themselves: an e-process divided
    by its value at any moment is one from then on. The difference in level is told of the whole trial only.
    """
    if trial is None:
        return None
    first, last = np.searchsorted(trial.path_ns, [start_ns, end_ns], side="right")
    if first >= last:
        return None
    if last - first == trial.cycles:
        return trial
    before = trial.path_log10_e[first - 1] if first else 0.0
    path = trial.path_log10_e[first:last] - before
    return replace(
        trial,
        cycles=len(path),
        left_out=0,
        log10_e=float(path[-1]),
        highest_log10_e=max(0.0, float(path.max())),
        difference_db=None,
        path_log10_e=path,
        path_ns=trial.path_ns[first:last],
    )


def _bounded_below(trial: TrialReading, reading: Reading) -> bool:
    """Is what the drawn slots have too much surely less than what the reading says of the polls?"""
    difference, excess = trial.difference_db, reading.excess_db
    return difference is not None and excess is not None and difference.high < excess.low


def _judged(reading: Reading, verdict: Verdict, p_value: float | None) -> Reading:
    """A reading with another verdict; I is told only where there is a tie."""
    interference = None
    if verdict is Verdict.TIED and reading.noise_dbfs is not None and reading.i_over_n_db is not None:
        interference = reading.noise_dbfs + reading.i_over_n_db
    return replace(reading, verdict=verdict, p_value=p_value, interference_dbfs=interference)
