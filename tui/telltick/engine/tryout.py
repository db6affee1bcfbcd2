"""Try an input before anything is recorded: how loud it is, and what the radio answers to one request."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from telltick.engine.condition import judged
from telltick.model.errors import DeviceError
from telltick.model.plan import AudioPlan, PollPlan
from telltick.model.snapshot import InputHealth
from telltick.model.traffic import Burst, Direction, Poll, PollOutcome
from telltick.sources.audio import AudioBlock, AudioSource
from telltick.sources.conversation import Conversation, Reports
from telltick.sources.serial_port import PORT_ERRORS, PortInfo, list_ports, open_port
from telltick.sources.soundcard import InputInfo, SoundCard, list_inputs

__all__ = ["Answer", "InputTryout", "SoundInputs", "ask_once", "machine_ports", "sound_inputs"]

KEPT_S = 3.0
UNKNOWN_END_MS = 60.0
_OPEN_AIR = re.compile(r"\bmic\b|microphone|webcam|camera|headset", re.IGNORECASE)


@dataclass(frozen=True)
class SoundInputs:
    """The machine's sound inputs.

    Attributes:
        inputs: each once.
        problem: why there are none; empty otherwise.
    """

    inputs: tuple[InputInfo, ...]
    problem: str = ""


def sound_inputs() -> SoundInputs:
    """What can be listened to; nothing is opened."""
    try:
        inputs = list_inputs()
    except DeviceError as why:
        return SoundInputs((), str(why))
    once = {one.name: one for one in reversed(inputs)}
    found = tuple(sorted(once.values(), key=lambda one: one.index))
    return SoundInputs(found, "" if found else "no sound input was found: connect one, then look again")


def machine_ports() -> tuple[PortInfo, ...]:
    """The machine's serial ports; none is opened."""
    return list_ports()


class InputTryout:
    """Listens to a sound input without recording it."""

    def __init__(self, plan: AudioPlan, open_input: Callable[[AudioPlan], AudioSource] = SoundCard) -> None:
        """Open the input.

        Args:
            plan: which one.
            open_input: makes the source; another one in tests.

        Raises:
            DeviceError: it is missing, taken, or refuses the settings.
        """
        self._source = open_input(plan)
        self.name = self._source.name
        self._last = np.zeros(0, dtype=np.int16)
        self._lock = threading.Lock()
        self._source.start(self._take)

    def look(self) -> InputHealth:
        """How loud it is now, and what to do about it."""
        with self._lock:
            last = self._last
        health = judged(last, self._source.rate_hz)
        problem = self._source.problem()
        advice = problem or health.advice or _looks_like(self.name)
        return replace(health, advice=advice)

    def close(self) -> None:
        """Let go of the input."""
        self._source.stop()

    def _take(self, block: AudioBlock) -> None:
        keep = int(KEPT_S * self._source.rate_hz)
        with self._lock:
            self._last = _joined(self._last, block.samples)[-keep:]


def _joined(before: npt.NDArray[np.int16], new: npt.NDArray[np.int16]) -> npt.NDArray[np.int16]:
    return np.concatenate([before, new])


def _looks_like(name: str) -> str:
    """A word about inputs that hear the room instead of the receiver; common practice, no source."""
    if _OPEN_AIR.search(name):
        return "this looks like a microphone: it hears the shack; take the receiver's line output by cable"
    return ""


@dataclass(frozen=True)
class Answer:
    """What came of one request.

    Attributes:
        reply: the bytes that came.
        reply_ms: from the request's end to the reply's begin; None without one.
        complete: the reply ended as the plan says.
        trouble: one sentence; empty when all is well.
    """

    reply: bytes = b""
    reply_ms: float | None = None
    complete: bool = False
    trouble: str = ""


def ask_once(plan: PollPlan) -> Answer:
    """Open the port, send the plan's request once, wait for its reply, and close the port again.

    The caller has shown the caution on control lines: opening a port can pulse them.
    """
    if plan.reply_terminator is None and plan.reply_bytes is None and plan.reply_silence_ms is None:
        plan = replace(plan, reply_silence_ms=UNKNOWN_END_MS)  # how it ends is what the user wants to see
    began_ns = time.monotonic_ns()
    heard: list[Burst] = []
    troubles: list[str] = []
    outcomes: list[Poll] = []
    tell = Reports(heard.append, outcomes.append, lambda kind, words: troubles.append(f"{kind}: {words}"))
    try:
        talk = Conversation(open_port(plan), plan, lambda: time.monotonic_ns() - began_ns, tell)
    except DeviceError as why:
        return Answer(trouble=str(why))
    try:
        sent_ns = time.monotonic_ns() - began_ns
        talk.ask(Poll(0, sent_ns, sent_ns, PollOutcome.ERROR), lambda: False)
    except PORT_ERRORS as why:
        troubles.append(f"{plan.port} was lost: {why}")
    finally:
        talk.close()
    reply = b"".join(burst.data for burst in heard if burst.direction is Direction.RX)
    outcome = outcomes[0] if outcomes else None
    return Answer(
        reply,
        None if outcome is None or outcome.reply_ns is None else outcome.reply_ns / 1e6,
        outcome is not None and outcome.outcome is PollOutcome.REPLY,
        troubles[0]
        if troubles
        else ""
        if reply
        else "no reply came: check port, baud, framing and the frame",
    )
