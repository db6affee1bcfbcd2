"""The words of the bench: what an operator calls things, understood as far as findings need it.

Values are free text. A few kinds of value are recognised by the words below (whole words, any case); all
others count as just different values of their factor. Numbers with the same unit have an order.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from enum import StrEnum

from telltick.model.trial import FACTOR as COIN_TRIAL

POLLING = "polling"
REQUEST = "request"  # which of the two requests of a poll plan is sent
CONTROLS = (COIN_TRIAL,)  # how the polls are timed, not how the bench stands: same setup


class Kind(StrEnum):
    """What a value means, as far as findings need to know."""

    DUMMY = "a dummy load"
    NONE = "nothing there"
    FITTED = "something there"
    LEAST = "at its least"
    MOST = "at its most"
    LOWER = "lower"
    HIGHER = "higher"
    MAINS = "from the mains"
    BATTERY = "from a battery"
    ON = "on"
    OFF = "off"
    OTHER = "some value"


_ABSENT = r"none|no|without|removed|unplugged|disconnected|out|open|nothing"
_OFF = (r"off", Kind.OFF)
WORDS: Mapping[str, tuple[tuple[str, Kind], ...]] = {
    "antenna": (
        (r"dummy|dummy load|load|50 ?(ohms?|Ω)|terminat(ed|or|ion)", Kind.DUMMY),
        (_ABSENT + "|off", Kind.NONE),
    ),
    "cable": ((_ABSENT + "|off", Kind.NONE),),
    "choke": (
        (_ABSENT + "|off", Kind.NONE),
        (r"fitted|on|yes|with|ferrite|choke|snap-?on|turns?|clip-?on", Kind.FITTED),
    ),
    "rf gain": (
        (r"min|minimum|least|lowest|zero", Kind.LEAST),
        (r"max|maximum|full|most|highest", Kind.MOST),
        (r"low|lower|half|middle|reduced", Kind.LOWER),
    ),
    "monitor level": (
        (r"off|none|zero|min|minimum|least", Kind.LEAST),
        (r"low|lower|half|reduced", Kind.LOWER),
        (r"high|higher|more|raised", Kind.HIGHER),
        (r"max|maximum|full|most", Kind.MOST),
    ),
    "supply": (
        (r"battery|batteries|accu(mulator)?|cells?", Kind.BATTERY),
        (r"mains|linear|switching|psu|power supply|adapter|ac|line", Kind.MAINS),
    ),
    "computer": (
        (_ABSENT + "|off|shut down|asleep", Kind.OFF),
        (r"battery|batteries|unplugged charger", Kind.BATTERY),
        (r"mains|charger|ac|plugged in", Kind.MAINS),
    ),
    REQUEST: ((r"ignored|unanswered|unknown|not answered|no answer", Kind.NONE),),
    POLLING: (_OFF, (r"on", Kind.ON)),
}
# Kinds of one state only; two supplies may both be from the mains, two chokes both fitted.
_ONE_STATE = (Kind.DUMMY, Kind.NONE, Kind.LEAST, Kind.MOST, Kind.ON, Kind.OFF)
_ORDER = {
    Kind.NONE: 0.0,
    Kind.OFF: 0.0,
    Kind.LEAST: 0.0,
    Kind.LOWER: 0.4,
    Kind.OTHER: 0.5,
    Kind.HIGHER: 0.8,
    Kind.MOST: 1.0,
}


def kind_of(factor: str, value: str) -> Kind:
    """What a value of a factor means."""
    words = tidy(value)
    if not words:
        return Kind.NONE if tidy(factor) == "choke" else Kind.OTHER  # a choke nobody speaks of is not there
    for pattern, kind in WORDS.get(tidy(factor), ()):
        if re.search(rf"(?<!\w)(?:{pattern})(?!\w)", words):
            return kind
    if number_of(words) == 0 and tidy(factor) in ("rf gain", "monitor level"):
        return Kind.LEAST
    return Kind.OTHER


def alike(factor: str, value: str, other: str) -> bool:
    """Whether two values mean the same thing, in the same words or in others; two blanks do not."""
    if not tidy(value) or not tidy(other):
        return False
    if _one_way(value) == _one_way(other):
        return True
    kind = kind_of(factor, value)
    return kind in _ONE_STATE and kind is kind_of(factor, other)


def order_of(factor: str, value: str, other: str) -> int:
    """-1 when `value` is lower than `other`, 1 when it is higher, 0 when that cannot be told."""
    ours, theirs = number_of(value), number_of(other)
    if ours is None or theirs is None:
        ours, theirs = _ORDER.get(kind_of(factor, value), 0.5), _ORDER.get(kind_of(factor, other), 0.5)
    return (ours > theirs) - (ours < theirs)


def number_of(value: str) -> float | None:
    """The number that a value is or begins with, such as ``14.1 MHz``; None without one."""
    match = re.match(r"\s*([-+]?\d+(?:[.,]\d+)?)", value)
    return float(match[1].replace(",", ".")) if match else None


def tidy(text: str) -> str:
    """Text without the differences that mean nothing: case, blanks around and doubled, a trailing stop."""
    return " ".join(text.casefold().split()).rstrip(".")


def bench_of(setup: Mapping[str, str]) -> dict[str, str]:
    """A setup as far as it describes the bench; values tidied, numbers written one way."""
    return {tidy(factor): _one_way(value) for factor, value in setup.items() if tidy(factor) not in CONTROLS}


def _one_way(value: str) -> str:
    words = tidy(value)
    match = re.fullmatch(r"([-+]?\d+(?:\.\d+)?) ?(\D*)", words)
    return f"{float(match[1]):g} {match[2]}".strip() if match else words
