"""A thread that measures the whole session while the screen goes on, and can be told to give up."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from telltick.model.errors import CancelledError
from telltick.model.measurement import Measurement

TELL_EVERY_S = 0.25
SURE_OF_TIME = 0.05  # share done below which nobody can say how long the rest takes
Measure = Callable[[Callable[[float], bool]], Measurement]


@dataclass(frozen=True)
class Results:
    """What is known of the session's results.

    Attributes:
        measurement: the newest one; None before the first.
        taken_ns: session time at which it was begun.
        share: how far measuring is, 0 to 1; None while none is under way.
        left_s: seconds until it is probably done; None when that cannot be told.
        trouble: why the last attempt brought nothing; empty when it did.
    """

    measurement: Measurement | None = None
    taken_ns: int = 0
    share: float | None = None
    left_s: float | None = None
    trouble: str = ""


class Measuring:
    """Measures when asked, one at a time; keeps the newest measurement."""

    def __init__(
        self,
        measure: Measure,
        tell: Callable[[], object],
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        """Prepare to measure.

        Args:
            measure: measures; runs on a thread of this object and asks now and then whether to go on.
            tell: is told, on that thread, that `results` says something new.
            clock_s: a clock that never runs backwards.
        """
        self._measure, self._tell, self._clock_s = measure, tell, clock_s
        self._results = Results()
        self._thread: threading.Thread | None = None
        self._lock = threading.Lock()  # over the next three
        self._running = False
        self._next_ns: int | None = None  # to begin with when the measuring that was given up has ended
        self._given_up = False
        self._begun_s = self._told_s = 0.0

    @property
    def results(self) -> Results:
        """What is known now."""
        return self._results

    @property
    def busy(self) -> bool:
        """Measuring is under way."""
        return self._results.share is not None

    def start(self, now_ns: int) -> bool:
        """Begin to measure; returns False when that is under way already and was not given up.

        Args:
            now_ns: session time, kept as the age of the results.
        """
        with self._lock:
            if self._running:
                if self._given_up:
                    self._next_ns = now_ns
                    self._state(share=0.0, left_s=None, trouble="")
                return self._given_up
            self._running = True
        self._prepare()
        self._thread = threading.Thread(target=self._run, args=(now_ns,), name="measuring", daemon=True)
        self._thread.start()
        return True

    def cancel(self) -> None:
        """Give up soon; what was measured before stays."""
        with self._lock:
            self._given_up, self._next_ns = True, None

    def stop(self, timeout_s: float) -> bool:
        """Give up and wait; returns False when it is still under way after `timeout_s`."""
        self.cancel()
        if self._thread is None:
            return True
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _prepare(self) -> None:
        self._given_up = False
        self._begun_s = self._told_s = self._clock_s()
        self._state(share=0.0, left_s=None, trouble="")

    def _run(self, now_ns: int) -> None:
        begin: int | None = now_ns
        while begin is not None:
            self._once(begin)
            with self._lock:
                begin, self._next_ns = self._next_ns, None
                self._running = begin is not None
                if self._running:
                    self._prepare()
            self._tell()

    def _once(self, now_ns: int) -> None:
        try:
            found = self._measure(self._go_on)
        except CancelledError:
            self._state(share=None, left_s=None, trouble="measuring was stopped")
        except Exception as why:
            self._state(share=None, left_s=None, trouble=f"measuring failed: {why}")
        else:
            self._results = Results(found, now_ns)

    def _go_on(self, share: float) -> bool:
        now_s = self._clock_s()
        share = min(max(share, 0.0), 1.0)
        elapsed_s = now_s - self._begun_s
        left_s = elapsed_s * (1 - share) / share if share >= SURE_OF_TIME else None
        self._state(share=share, left_s=left_s)
        if now_s - self._told_s >= TELL_EVERY_S:
            self._told_s = now_s
            self._tell()
        return not self._given_up

    def _state(self, *, share: float | None, left_s: float | None, trouble: str | None = None) -> None:
        old = self._results
        said = old.trouble if trouble is None else trouble
        self._results = Results(old.measurement, old.taken_ns, share, left_s, said)
