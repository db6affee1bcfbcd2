"""How much of a measurement is done, by the work still to do and the pace it has gone at so far."""

from __future__ import annotations

import time
from collections.abc import Callable
from enum import StrEnum

from telltick.engine.parts import Progress
from telltick.model.errors import CancelledError


class Work(StrEnum):
    """Kinds of work, whose amounts cost differently."""

    SEARCH = "search"  # for the latency, in seconds of audio
    ROWS = "rows"  # of polls, in seconds of audio
    LOOK = "look"  # closely at a step, in steps
    BITS = "bits"  # held against other texts, once


# What an amount costs beside the others before any of its kind was done (seconds, as a session of twenty
# minutes took on one machine); once some was, its own pace counts.
GUESSES = {Work.SEARCH: 0.013, Work.ROWS: 0.003, Work.LOOK: 0.6, Work.BITS: 1.0}


class Effort:
    """The work of one measurement: the time between two calls is what the amount told at the second cost."""

    def __init__(self, progress: Progress, clock_s: Callable[[], float] = time.monotonic) -> None:
        """Begin.

        Args:
            progress: told the share done, 0 to 1; answers False to give up.
            clock_s: a clock that never runs backwards.
        """
        self._progress, self._clock_s = progress, clock_s
        self._last_s = clock_s()
        self._told = 0.0  # a bar that has come so far does not go back
        self._wanted = dict.fromkeys(Work, 0.0)
        self._done = dict.fromkeys(Work, 0.0)
        self._spent_s = dict.fromkeys(Work, 0.0)

    def expect(self, work: Work, amount: float) -> None:
        """Say how much of a kind there is to do in all."""
        self._wanted[work] = amount

    def expect_more(self, work: Work, amount: float) -> None:
        """Say how much of a kind there is still to do."""
        self._wanted[work] = self._done[work] + max(amount, 0.0)

    def done(self, work: Work, amount: float) -> None:
        """Say that so much more of a kind is done.

        Raises:
            CancelledError: progress said to give up.
        """
        now_s = self._clock_s()
        self._spent_s[work] += now_s - self._last_s
        self._done[work] += amount
        self._wanted[work] = max(self._wanted[work], self._done[work])
        self._last_s = now_s
        self._told = max(self._told, self.share)
        if not self._progress(self._told):
            raise CancelledError("measuring was given up")

    @property
    def share(self) -> float:
        """What is done of all there is to do, in time."""
        spent_s = sum(self._spent_s.values())
        left_s = sum((self._wanted[work] - self._done[work]) * self._pace(work) for work in Work)
        return spent_s / (spent_s + left_s) if spent_s + left_s > 0 else 0.0

    def _pace(self, work: Work) -> float:
        """Seconds an amount takes: as it went so far, else by the guess and how the other guesses held."""
        if self._done[work] > 0:
            return self._spent_s[work] / self._done[work]
        guessed_s = sum(self._done[kind] * GUESSES[kind] for kind in Work)
        spent_s = sum(self._spent_s[kind] for kind in Work if self._done[kind] > 0)
        return GUESSES[work] * (spent_s / guessed_s if guessed_s > 0 and spent_s > 0 else 1.0)
