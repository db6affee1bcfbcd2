"""When the next frame may go out: the terminal itself says that it has drawn the last ones.

After each frame the terminal is asked where its cursor stands (device status report, ``CSI 6 n``, ECMA-48
8.3.35); it answers when it has drawn everything before the question. How fast writes drain says nothing: over
a network megabytes fit between a program and the glass. This module decides; `telltick.ui.wire` asks.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable

MAX_IN_FLIGHT = 2  # one frame being drawn, one on its way: a third would only add lag
BEST_HZ = 10.0
UNANSWERED_HZ = 2.0  # for a terminal that has never answered
RATES_HZ: tuple[float | None, ...] = (None, 10.0, 5.0, 2.0, 1.0)  # None: the terminal decides
PROBE_EVERY_S = 2.0
IDLE_PROBE_EVERY_S = 60.0  # while nothing changes: a link can end without a word
SILENCE_LIMIT_S = 300.0
SLACK_S = 0.04  # a timer's tick may come this much early and still count
TAGS = 30  # questions are told apart by the column the cursor stands in; every usable terminal has this many


class Pacer:
    """Counts frames out and answers in. Knows nothing of the terminal beyond that."""

    def __init__(
        self, *, silence_limit_s: float = SILENCE_LIMIT_S, clock_s: Callable[[], float] = time.monotonic
    ) -> None:
        """Begin with a terminal of which nothing is known.

        Args:
            silence_limit_s: a terminal that used to answer and is silent for longer is gone.
            clock_s: monotonic time in seconds.
        """
        self._clock_s = clock_s
        self._silence_limit_s = silence_limit_s
        self._open: deque[tuple[int, float]] = deque()  # unanswered questions: (tag, when asked)
        self._next_tag = 0
        self._asked_s = self._looked_s = -1e9
        self._blocked_since_s: float | None = None
        self._answers = False
        self._by_hand = 0

    # ---- frames

    @property
    def answers(self) -> bool:
        """The terminal has answered at least once."""
        return self._answers

    @property
    def waiting(self) -> bool:
        """A question is unanswered."""
        return bool(self._open)

    def may_draw(self) -> bool:
        """Whether a frame sent now would be drawn soon."""
        if self._blocked_since_s is not None:
            return False
        if len(self._open) < MAX_IN_FLIGHT:
            return True
        every_s = 1.0 / (self.by_hand_hz or UNANSWERED_HZ)
        return not self._answers and self._clock_s() - self._asked_s >= every_s - SLACK_S

    def asked(self) -> int:
        """A question goes out now, after a frame or alone; returns the column, from 1, to ask it in."""
        tag = self._next_tag
        self._next_tag = (tag + 1) % TAGS
        self._asked_s = self._clock_s()
        self._open.append((tag, self._asked_s))
        while not self._answers and len(self._open) > TAGS:
            self._open.popleft()
        return tag + 1

    def answered(self, column: int) -> None:
        """The terminal has drawn all that went out before the question asked from `column`, counted from 1.

        An answer that fits no question counts for the oldest one: some terminals clamp or renumber columns.
        """
        self._answers = True
        at = next((k for k, (tag, _) in enumerate(self._open) if tag == column - 1), 0)
        for _ in range(min(at + 1, len(self._open))):
            self._open.popleft()

    def should_probe(self) -> bool:
        """Whether to ask without a frame: answers get lost, and links end while nothing is drawn."""
        if not self._answers or self._blocked_since_s is not None:
            return False
        every_s = PROBE_EVERY_S if len(self._open) >= MAX_IN_FLIGHT else IDLE_PROBE_EVERY_S
        return self._clock_s() - self._asked_s >= every_s

    def forget(self) -> None:
        """The terminal was out of our hands for a while; answers still due will not come."""
        self._open.clear()

    # ---- a terminal that takes nothing

    def written(self, *, backlog: bool) -> None:
        """Take note whether what was written has left the process."""
        if not backlog:
            self._blocked_since_s = None
        elif self._blocked_since_s is None:
            self._blocked_since_s = self._clock_s()

    @property
    def silence_s(self) -> float:
        """How long the terminal owes an answer, or takes nothing; 0 for one that never answers."""
        since = [] if self._blocked_since_s is None else [self._blocked_since_s]
        if self._answers and self._open:
            since.append(self._open[0][1])
        return self._clock_s() - min(since) if since else 0.0

    @property
    def lost(self) -> bool:
        """Nobody is there any more."""
        return self.silence_s > self._silence_limit_s

    # ---- pictures

    @property
    def by_hand_hz(self) -> float | None:
        """Pictures per second the operator wants; None leaves it to the terminal."""
        return RATES_HZ[self._by_hand]

    def next_rate(self) -> float | None:
        """Take the next rate in turn, and return it."""
        self._by_hand = (self._by_hand + 1) % len(RATES_HZ)
        return self.by_hand_hz

    def picture_due(self) -> bool:
        """Whether it is time to look at the session again; to be asked at least `BEST_HZ` times per second.

        While nothing can be drawn a look each second keeps the measurement from falling behind.
        """
        now = self._clock_s()
        hz = self.by_hand_hz or (BEST_HZ if self._answers or not self._open else UNANSWERED_HZ)
        if not self.may_draw() and self._asked_s < now - 1.0:
            hz = 1.0
        if now - self._looked_s < 1.0 / hz - SLACK_S:
            return False
        self._looked_s = now
        return True
