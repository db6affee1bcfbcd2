"""A passive tap: hears what others say on a line and never writes a byte."""

from __future__ import annotations

import contextlib
import math
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

from telltick.model.errors import DeviceError
from telltick.model.tap import TapPlan
from telltick.model.traffic import Burst
from telltick.sources.line_thread import start_line_thread
from telltick.sources.serial_port import PORT_ERRORS, Port
from telltick.sources.tapped_bursts import TappedBursts, char_ns

OPEN_ERRORS: tuple[type[Exception], ...] = (DeviceError, *PORT_ERRORS)
RETRY_S = 1.0
SPLIT_CHARS = 4  # silence of so many characters parts a request from its reply
SPLIT_NS = 3_000_000


class SilenceRule:
    """Tells a pause between polls from one between a request and its reply.

    On a tap both sides sound alike, and nobody numbers the polls. The silences are of two kinds, turnarounds
    and pauses; the widest step between their sorted lengths parts them.
    """

    SEEN = 64
    FEWEST = 12
    RATIO = 2.0
    SHORTEST_NS, UNKNOWN_NS, LONGEST_NS = 5_000_000, 50_000_000, 500_000_000

    def __init__(self) -> None:
        self._seen: deque[int] = deque(maxlen=self.SEEN)

    def parts(self, silence_ns: int) -> bool:
        """Whether a new poll begins after a silence; the silence is learnt from."""
        self._seen.append(max(silence_ns, 1))
        return silence_ns > self.limit_ns

    @property
    def limit_ns(self) -> int:
        """Silences longer than this part polls."""
        if len(self._seen) < self.FEWEST:
            return self.UNKNOWN_NS
        seen = sorted(self._seen)
        kept = seen[len(seen) // 16 : len(seen) - len(seen) // 16]  # one odd pause decides nothing
        ratio, low, high = max((b / a, a, b) for a, b in pairwise(kept))
        limit = math.sqrt(low * high) if ratio > self.RATIO else kept[0] / 2
        return round(min(max(limit, self.SHORTEST_NS), self.LONGEST_NS))


class Listener:
    """Listens on one port from a thread of its own; callbacks run there and must be quick."""

    def __init__(
        self,
        plan: TapPlan,
        *,
        open_port: Callable[[TapPlan], Port],
        clock_ns: Callable[[], int],
        on_burst: Callable[[Burst], None],
        on_trouble: Callable[[str, str], None],
    ) -> None:
        """Set up; nothing is opened before `start`.

        Args:
            plan: the port.
            open_port: opens it; raises DeviceError.
            clock_ns: session time.
            on_burst: told of every run of bytes, with the number of the poll that silences say it belongs to.
            on_trouble: told of ``serial lost`` and ``serial back``, and words.
        """
        self._plan = plan
        self._open_port = open_port
        self._clock_ns = clock_ns
        self._tell_burst = on_burst
        self._trouble = on_trouble
        char = char_ns(plan.line.bits_per_char, plan.baud)
        self._bursts = TappedBursts(self._number, char, max(SPLIT_NS, round(SPLIT_CHARS * char)))
        self._rule = SilenceRule()
        self._poll = 0
        self._last_end_ns: int | None = None
        self._lost = False
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Open the port and begin."""
        self._thread = start_line_thread(self._run, "listener", self._trouble)

    def stop(self) -> None:
        """Close the port and end the thread."""
        self._stopping.set()
        if self._thread is not None:
            self._thread.join(timeout=2.0)

    def _run(self) -> None:
        while not self._stopping.is_set():
            try:
                port = self._open_port(self._plan)
            except OPEN_ERRORS as why:
                self._tell_lost(why)
                self._stopping.wait(RETRY_S)
                continue
            if self._lost:
                self._lost = False
                self._trouble("serial back", f"{self._plan.port} answers to its name again")
            try:
                self._listen(port)
            except PORT_ERRORS as why:
                self._tell_lost(why)
            finally:
                with contextlib.suppress(*PORT_ERRORS):
                    port.close()
                self._bursts.flush()

    def _listen(self, port: Port) -> None:
        while not self._stopping.is_set():
            data = port.read(1)
            if data:
                waiting = port.in_waiting
                self._bursts.received(data + port.read(waiting) if waiting else data, self._clock_ns())
            self._bursts.flush_silent(self._clock_ns())

    def _tell_lost(self, why: Exception) -> None:
        if not self._lost:
            self._lost = True
            self._trouble("serial lost", str(why))

    def _number(self, burst: Burst) -> None:
        """Number a burst by the silence before it."""
        if self._last_end_ns is not None and self._rule.parts(burst.start_ns - self._last_end_ns):
            self._poll += 1
        self._last_end_ns = burst.end_ns
        self._tell_burst(replace(burst, poll=self._poll))
