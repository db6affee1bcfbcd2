"""Asking a recorder for something from the command line, and waiting for what becomes of it."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from telltick.model.errors import BadInputError, TelltickError
from telltick.model.session import Outcome, Verb
from telltick.store.journal import Journal
from telltick.store.lock import held
from telltick.store.session import SessionReader

PATIENCE_S = 15.0
LOOK_EVERY_S = 0.05
WORDS = {
    "resume": Verb.RESUME,
    "finish": Verb.FINISH,
    "start-polling": Verb.START_POLLING,
    "stop-polling": Verb.STOP_POLLING,
    "interval": Verb.SET_INTERVAL,
    "baud": Verb.SET_BAUD,
    "request": Verb.SET_REQUEST,
    "start-trial": Verb.START_TRIAL,
    "stop-trial": Verb.STOP_TRIAL,
}
WITH_VALUE = ("interval", "baud", "request")


def ask(
    folder: Path,
    word: str,
    value: str | None = None,
    *,
    patience_s: float = PATIENCE_S,
    sleep: Callable[[float], None] = time.sleep,
) -> str:
    """Ask the recorder of a session; returns its words once it is done.

    Args:
        folder: the session.
        word: one of `WORDS`.
        value: seconds, bits per second, answered or unanswered, for the words that need one.
        patience_s: how long to wait for the answer.
        sleep: how to wait a moment.

    Raises:
        BadInputError: nobody records it, or the value is missing or too much.
        TelltickError: the recorder refused, with its words, or did not answer.
    """
    if (value is not None) != (word in WITH_VALUE):
        need = "needs a value after it" if value is None else "takes nothing after it"
        raise BadInputError(f"{word} {need}; see telltick ask --help")
    if not held(folder):
        with SessionReader(folder):  # says what is wrong where it is no session at all
            raise BadInputError(f"nobody is recording {folder}: there is no recorder to ask")
    outcome = _answer(folder, WORDS[word], value or "", patience_s, sleep)
    if not outcome.done:
        raise TelltickError(f"refused: {outcome.note}")
    return outcome.note


def _answer(
    folder: Path, verb: Verb, value: str, patience_s: float, sleep: Callable[[float], None]
) -> Outcome:
    with SessionReader(folder) as reader:
        with Journal.open(folder) as journal:
            t_ns = time.monotonic_ns() - reader.facts.started_mono_ns
            number = journal.add_request(t_ns, verb, value).number
        for _ in range(round(patience_s / LOOK_EVERY_S)):
            for outcome in reader.outcomes:
                if outcome.request == number:
                    return outcome
            sleep(LOOK_EVERY_S)
            reader.refresh()
    raise TelltickError(
        f"the recorder of {folder} has not answered within {patience_s:.0f} s: is it stopped?"
    )
