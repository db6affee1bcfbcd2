"""The factors of the bench that have a key, and the values an operator is likely to give them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from telltick.model.cautions import BY_FACTOR
from telltick.model.errors import BadInputError
from telltick.model.marks import Mark, MarkKind
from telltick.model.plan import REQUEST, REQUEST_ANSWERED, REQUEST_IGNORED
from telltick.model.session import Verb

MOST_SUGGESTIONS = 6
REQUESTS = {
    "ignored": "unanswered",
    "unanswered": "unanswered",
    "answered": "answered",
}  # first word -> asked for


@dataclass(frozen=True)
class Factor:
    """Something on the bench that can be changed.

    Attributes:
        name: as it stands in the setup.
        usual: values offered before the session has any of its own.
        verb: how to ask our own poller to change it; None when hands do it.
        unit: what a number given for it counts, for the prompt.
    """

    name: str
    usual: tuple[str, ...] = ()
    verb: Verb | None = None
    unit: str = ""

    @property
    def caution(self) -> str:
        """What to mind while hands are on it; empty for most."""
        return BY_FACTOR.get(self.name, "")


FACTORS: Mapping[str, Factor] = {
    factor.name: factor
    for factor in (
        Factor("antenna", ("dummy load", "antenna")),
        Factor("cable", ("A", "B", "unplugged")),
        Factor("rf gain", ("full", "half", "minimum")),
        Factor("choke", ("none", "fitted")),
        Factor("supply", ("mains", "battery")),
        Factor("computer", ("on mains", "on battery")),
        Factor("frequency", (), unit="kHz"),
        Factor("monitor level", ("normal", "lower", "higher")),
        Factor("baud", ("4800", "9600", "19200"), Verb.SET_BAUD, "bits per second"),
        Factor(REQUEST, (REQUEST_IGNORED, REQUEST_ANSWERED), Verb.SET_REQUEST),
        Factor("poll interval", ("0.1", "0.2", "0.5", "1"), Verb.SET_INTERVAL, "seconds"),
    )
}


def suggestions(
    factor: Factor, marks: Iterable[Mark], initial: Mapping[str, str], present: str
) -> tuple[str, ...]:
    """Values worth offering: this session's own, newest first, then the usual ones.

    Args:
        factor: what changes.
        marks: the session's marks.
        initial: setup at the start of the session.
        present: the value now, which is not offered.
    """
    given = [
        mark.value
        for mark in sorted(marks, key=lambda m: m.t_ns, reverse=True)
        if mark.kind is MarkKind.CHANGE and mark.factor == factor.name and mark.value
    ]
    offered = dict.fromkeys((*given, initial.get(factor.name, ""), *factor.usual))
    return tuple(value for value in offered if value and value != present)[:MOST_SUGGESTIONS]


def checked_request(verb: Verb, text: str) -> str:
    """The argument of a request to the poller, after a look at it.

    Raises:
        BadInputError: it says nothing, is no number, or one the poller cannot follow.
    """
    if verb is Verb.SET_REQUEST:
        word = text.strip().partition(" ")[0].casefold()
        if word not in REQUESTS:
            raise BadInputError(f"say which request: {REQUEST_IGNORED}, or {REQUEST_ANSWERED}")
        return REQUESTS[word]
    words = text.split()
    try:
        value = float(words[0]) if len(words) == 1 else math.nan
    except ValueError:
        value = math.nan
    if verb is Verb.SET_BAUD:
        if not (value == value // 1 and 50 <= value <= 4_000_000):
            raise BadInputError("the baud must be a whole number of bits per second, 50 to 4000000")
        return str(int(value))
    if not 0.01 <= value <= 3600:
        raise BadInputError("the poll interval must be a number of seconds, 0.01 to 3600")
    return f"{value:g}"
