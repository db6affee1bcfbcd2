"""Requests about polling, passed on to our own poller."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from telltick.model.plan import REQUEST, REQUEST_ANSWERED, REQUEST_IGNORED
from telltick.model.session import Request, Verb
from telltick.model.trial import FACTOR as TRIAL
from telltick.sources.poller import Poller

N = TypeVar("N", int, float)


@dataclass(frozen=True, slots=True)
class Change:
    """A change of the setup that a program, ours or the station's, made.

    Attributes:
        factor: what changed.
        value: its new value.
        note: more about it.
    """

    factor: str
    value: str
    note: str = ""

    def __str__(self) -> str:
        return ", ".join(filter(None, (f"{self.factor}: {self.value}", self.note)))


def instruct(poller: Poller, request: Request) -> Change | None:
    """Pass a request on to the poller; None when the port has yet to answer.

    Raises:
        ValueError: it cannot be done; the message says why.
    """
    match request.verb:
        case Verb.START_POLLING:
            poller.set_polling(True)
            return Change("polling", "on")
        case Verb.STOP_POLLING:
            poller.set_polling(False)
            return Change("polling", "off")
        case Verb.SET_INTERVAL:
            poller.set_interval(_number(request, float))
            return Change("poll interval", f"{poller.interval_s:g} s", _trial_note(poller))
        case Verb.SET_BAUD:
            poller.set_baud(_number(request, int))
            return None
        case Verb.SET_REQUEST:
            unanswered = _which(request.value)
            poller.set_request(unanswered=unanswered)
            return Change(REQUEST, REQUEST_IGNORED if unanswered else REQUEST_ANSWERED)
        case Verb.START_TRIAL:
            poller.start_trial()
            return Change(TRIAL, "on", _trial_note(poller))
        case Verb.STOP_TRIAL:
            poller.stop_trial()
            return Change(TRIAL, "off")
        case _:
            raise ValueError(f"the poller cannot {request.verb}")


def _which(value: str) -> bool:
    """Whether the request that the radio lets pass is meant."""
    if value not in ("answered", "unanswered"):
        raise ValueError(f"the request is answered or unanswered, not {value[:20]!r}")
    return value == "unanswered"


def rate_change(poller: Poller, baud: int) -> Change:
    """The rate that the port has taken."""
    return Change("baud", f"{baud}", _trial_note(poller))


def _trial_note(poller: Poller) -> str:
    """How the cycles of a coin trial are cut; empty without one."""
    return "" if poller.trial is None else str(poller.trial)


def _number(request: Request, kind: Callable[[str], N]) -> N:
    """The request's value; its refusal is read by an operator."""
    try:
        return kind(request.value)
    except ValueError:
        raise ValueError(f"{request.verb} needs a number, not {request.value[:20]!r}") from None
