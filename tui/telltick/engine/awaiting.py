"""A coin trial that ends by itself where no screen is there to end it: whoever asked for it waits and looks.

The recorder writes down draws and sound and judges nothing. A screen ends a trial at its set odds; without
one the asking program does, by the same odds, worked out from the journal as ``measure`` does it. Where
neither waits, the trial goes on: its odds hold at every moment, so nothing is lost but evenly spaced polls.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from pathlib import Path

from telltick.engine.asking import ask
from telltick.engine.told import told_until
from telltick.engine.trial import TrialFollower
from telltick.model.errors import BadInputError
from telltick.model.readings import TrialReading
from telltick.model.trial import odds_to_one
from telltick.store.lock import held
from telltick.store.session import SessionReader

LOOK_EVERY_S = 1.0


def trial_until(folder: Path, odds: str, *, sleep: Callable[[float], None] = time.sleep) -> str:
    """Start a coin trial, wait until its odds against chance are so high, and end it.

    Args:
        folder: a session that is being recorded.
        odds: to one; above 1.
        sleep: how to wait a moment.

    Returns:
        what became of it, with the odds.

    Raises:
        BadInputError: the odds are no such number, or nobody records the session.
        TelltickError: the recorder refused, or did not answer.
    """
    wanted = math.log10(_number(odds))
    ask(folder, "start-trial")
    with SessionReader(folder) as reader:
        follower = TrialFollower(reader)
        while True:
            trial = follower.read(told_until(reader, growing=True))
            over = _over(folder, reader, trial)
            if over:
                return f"{over}: {_words(trial)}"
            if trial is not None and trial.log10_e >= wanted:
                return f"{ask(folder, 'stop-trial')}: {_words(trial)}"
            sleep(LOOK_EVERY_S)
            reader.refresh()


def _over(folder: Path, reader: SessionReader, trial: TrialReading | None) -> str:
    """Why there is nothing more to wait for; empty while there is."""
    if reader.ending is not None or not held(folder):
        return "the session ended"
    return "the trial was ended by another" if trial is not None and not trial.running else ""


def _words(trial: TrialReading | None) -> str:
    if trial is None:
        return "no cycle counts yet"
    return f"odds against chance {odds_to_one(trial.log10_e)} after {trial.cycles} cycles"


def _number(odds: str) -> float:
    try:
        number = float(odds)
    except ValueError:
        number = math.nan
    if not 1 < number <= 1e12:
        raise BadInputError(f"a coin trial ends at odds from above 1 to 1e12, not {odds[:20]!r}")
    return number
