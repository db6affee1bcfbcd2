"""Our own poller: sends a request on schedule, stamps both directions, survives the loss of its port."""

from __future__ import annotations

import contextlib
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from telltick.model.clock import NS
from telltick.model.errors import DeviceError
from telltick.model.plan import PollPlan
from telltick.model.tap import LineChange
from telltick.model.traffic import Burst, Poll, PollOutcome
from telltick.model.trial import FACTOR as TRIAL
from telltick.model.trial import Rhythm, TrialSlot, rhythm_for
from telltick.sources.conversation import Conversation, Reports
from telltick.sources.line_thread import start_line_thread
from telltick.sources.schedule import Schedule, Slot, TrialSchedule
from telltick.sources.serial_port import PORT_ERRORS, Port

OPEN_ERRORS: tuple[type[Exception], ...] = (DeviceError, *PORT_ERRORS)
RETRY_S = 1.0
IDLE_NS = 100_000_000
GUARD_NS = 8_000_000  # between a poll and the next slot: ringing, and what the latency may be off by
UNAWAITED_NS = 50_000_000  # room for a reply that the plan does not wait for
MOST_CYCLES = 3000  # of one coin trial: ten minutes at five polls a second tell what a trial can tell
LAST_POLLS = 50  # whose length tells what a poll needs


@dataclass(frozen=True, slots=True)
class _Wanted:
    """What the poller has been told; replaced as a whole, so that the thread sees every change.

    Attributes:
        grid: rises whenever the schedule is to start anew.
        trial: how the cycles of the coin trial are cut; None without one.
        unanswered: the plan's other request is sent, which the radio lets pass.
        rate_asks: rises whenever a rate is asked for, the present one too.
    """

    polling: bool
    interval_s: float
    baud: int
    grid: int = 1
    stopping: bool = False
    trial: Rhythm | None = None
    unanswered: bool = False
    rate_asks: int = 0


class Poller:
    """Polls one port from a thread of its own.

    The port is opened once and held, since every opening may pulse the control lines. Everything public may
    be called from any thread; callbacks run in the poller's thread and must be quick.
    """

    def __init__(
        self,
        plan: PollPlan,
        *,
        open_port: Callable[[PollPlan], Port],
        clock_ns: Callable[[], int],
        seed: int,
        on_burst: Callable[[Burst], None],
        on_poll: Callable[[Poll], None],
        on_trouble: Callable[[str, str], None],
        on_draw: Callable[[TrialSlot], None] = lambda _: None,
        on_rate: Callable[[int, str, int], None] = lambda *_: None,
        on_change: Callable[[LineChange], None] = lambda _: None,
        first_number: int = 0,
    ) -> None:
        """Set up; nothing is opened before `start`.

        Args:
            plan: what to poll and how.
            open_port: opens the plan's port; raises DeviceError.
            clock_ns: session time.
            seed: of the schedule's jitter and of the coin trial's draws.
            on_burst: told of every run of bytes, in either direction.
            on_poll: told of every poll once it is over. When the plan awaits no reply, a poll that was sent
                counts as answered, with no reply time.
            on_trouble: told of troubles: a kind such as ``serial lost`` or ``late reply``, and words.
            on_draw: told of each draw of a coin trial, just before its poll is sent.
            on_rate: told what became of `set_baud`: the rate in force, why another was refused, and the
                number of the ask that this answers, with all before it.
            on_change: told when a coin trial ended by itself, so that none runs on where no viewer ends it.
            first_number: number of the first poll.
        """
        self._plan = plan
        self._open_port = open_port
        self._clock_ns = clock_ns
        self._tell = Reports(on_burst, on_poll, on_trouble)
        self._number = first_number
        self._seed = seed
        self._tell_draw, self._tell_rate, self._tell_change = on_draw, on_rate, on_change
        self._steady = Schedule(plan.interval_s, plan.jitter_ms, seed)
        self._schedule: Schedule | TrialSchedule = self._steady
        self._legs = 0
        self._took_ns: deque[int] = deque(maxlen=LAST_POLLS)
        self._changed = threading.Condition()
        self._wanted = _Wanted(plan.enabled, plan.interval_s, plan.baud)
        self._applied = replace(self._wanted, grid=0)
        self._talk: Conversation | None = None
        self._lost = False
        self._slot: Slot | None = None
        self._thread: threading.Thread | None = None

    # ---- from any thread

    @property
    def polling(self) -> bool:
        """True while requests are to be sent."""
        return self._wanted.polling

    @property
    def interval_s(self) -> float:
        """From one request to the next, in seconds."""
        return self._wanted.interval_s

    @property
    def baud(self) -> int:
        """Bits per second."""
        return self._wanted.baud

    @property
    def rate_asks(self) -> int:
        """How often `set_baud` has asked for a rate: the number of the last ask."""
        return self._wanted.rate_asks

    @property
    def trial(self) -> Rhythm | None:
        """How the cycles of the coin trial are cut; None without one."""
        return self._wanted.trial

    def start(self) -> None:
        """Open the port and begin."""
        self._thread = start_line_thread(self._run, "poller", self._tell.trouble)

    def stop(self) -> None:
        """Let the reply under way come in, close the port, end the thread."""
        self._want(stopping=True)
        if self._thread is not None:
            self._thread.join(timeout=2.0)

    def set_polling(self, polling: bool) -> None:
        """Start or stop sending requests; after a stop no burst to the radio begins."""
        self._want(new_grid=polling and not self._wanted.polling, polling=polling)

    def set_interval(self, interval_s: float) -> None:
        """Change the interval, from the next request on.

        Raises:
            ValueError: no such interval can be polled at.
        """
        replace(self._plan, interval_s=interval_s)  # checks the range
        trial = self.trial and self._rhythm(interval_s)
        self._want(new_grid=True, interval_s=interval_s, trial=trial)

    def set_baud(self, baud: int) -> None:
        """Change the character rate once the reply under way is in; what the port makes of it is told.

        Raises:
            ValueError: no such rate.
        """
        replace(self._plan, baud=baud)
        slower = max(1.0, self.baud / baud)
        trial = self.trial and self._rhythm(self.interval_s, slower)
        asks = self._wanted.rate_asks + 1
        self._want(new_grid=trial is not None, baud=baud, trial=trial, rate_asks=asks)

    def set_request(self, *, unanswered: bool) -> None:
        """Send the request that the radio answers, or the plan's other one; no other bytes are ever sent.

        Raises:
            ValueError: the plan has no other one, or a coin trial runs.
        """
        if self._plan.unanswered is None:
            raise ValueError(
                "the station file has no request that the radio lets pass: add unanswered_text under [poll]"
            )
        if self.trial is not None:
            raise ValueError("a coin trial is running: end it before the request is changed")
        self._want(unanswered=unanswered)

    def start_trial(self) -> Rhythm:
        """Begin a coin trial with the next request; returns how its cycles are cut.

        Raises:
            ValueError: it runs already, or polling is off.
        """
        if self.trial is not None:
            raise ValueError("a coin trial is already running")
        if not self.polling:
            raise ValueError("polling is off: start it, let some polls pass, then start the coin trial")
        rhythm = self._rhythm(self.interval_s)
        self._want(new_grid=True, trial=rhythm)
        return rhythm

    def stop_trial(self) -> None:
        """Go back to steady polling.

        Raises:
            ValueError: no coin trial runs.
        """
        if self.trial is None:
            raise ValueError("no coin trial is running")
        self._want(new_grid=True, trial=None)

    def _rhythm(self, interval_s: float, slower: float = 1.0) -> Rhythm:
        """Cut an interval into slots as long as the last answered polls took.

        Args:
            interval_s: the poll interval.
            slower: how many times longer characters are about to take.
        """
        with self._changed:
            took_ns = sorted(self._took_ns)
        if took_ns:  # polls that took much longer than the others must not cost slots
            busy_ns = took_ns[int(0.75 * (len(took_ns) - 1))] * slower
        else:
            timeout_ns = self._plan.reply_timeout_ms * 1e6
            frame_ns = len(self._plan.frame) * self._plan.line.char_time_s(self.baud) * NS
            busy_ns = frame_ns * slower + timeout_ns
        return rhythm_for(round(interval_s * NS), round(busy_ns) + GUARD_NS)

    def _want(self, new_grid: bool = False, **changes: Any) -> None:
        with self._changed:
            self._wanted = replace(self._wanted, grid=self._wanted.grid + new_grid, **changes)
            self._changed.notify_all()

    # ---- the poller's thread

    def _run(self) -> None:
        try:
            while not self._wanted.stopping:
                if self._talk is None:
                    self._connect()
                    continue
                try:
                    self._turn(self._talk)
                except PORT_ERRORS as why:
                    self._lose(why)
        finally:
            self._close()

    def _connect(self) -> None:
        try:
            port = self._open_port(replace(self._plan, baud=self._wanted.baud))
        except OPEN_ERRORS as why:
            self._tell_lost(why)
            with self._changed:
                self._changed.wait_for(lambda: self._wanted.stopping, timeout=RETRY_S)
            return
        self._talk = Conversation(port, self._plan, self._clock_ns, self._tell)
        if self._lost:
            self._lost = False
            self._tell.trouble("serial back", f"{self._plan.port} answers to its name again")

    def _lose(self, why: Exception) -> None:
        self._close()
        self._tell_lost(why)

    def _tell_lost(self, why: Exception) -> None:
        if not self._lost:
            self._lost = True
            self._tell.trouble("serial lost", str(why))

    def _close(self) -> None:
        talk, self._talk = self._talk, None
        if talk is not None:
            with contextlib.suppress(*PORT_ERRORS):  # a port that is gone need not be closed
                talk.close()

    def _turn(self, talk: Conversation) -> None:
        """One poll, or a moment of listening."""
        wanted = self._wanted
        if wanted is not self._applied:
            self._apply(talk, wanted)
        now_ns = self._clock_ns()
        if not wanted.polling:
            talk.listen(now_ns + IDLE_NS, self._told_something)
            return
        if self._slot is None or self._slot.due_ns < now_ns:
            self._slot = self._schedule.next_slot(now_ns)
            if self._slot.drawn is not None and self._slot.drawn.cycle >= MOST_CYCLES:
                self._end_trial(now_ns)
                return
        if talk.listen(self._slot.due_ns, self._told_something):
            slot, self._slot = self._slot, None
            self._poll(talk, slot)

    def _end_trial(self, now_ns: int) -> None:
        with contextlib.suppress(ValueError):  # somebody ended it this very moment
            self.stop_trial()
            self._tell_change(LineChange(now_ns, TRIAL, "off", f"{MOST_CYCLES} cycles are over"))

    def _told_something(self) -> bool:
        return self._wanted is not self._applied

    def _apply(self, talk: Conversation, wanted: _Wanted) -> None:
        before, self._applied = self._applied, wanted
        if wanted.grid != before.grid:
            self._lay_grid(wanted)
            self._slot = None
        if wanted.unanswered != before.unanswered or wanted.grid != before.grid:
            talk.send_from_now(
                self._plan.unanswered or self._plan.frame if wanted.unanswered else self._plan.frame
            )
        refused = talk.set_baud(wanted.baud) if wanted.baud != talk.baud else ""
        if refused:
            self._give_up_rate(wanted, talk.baud)
        if wanted.rate_asks != before.rate_asks:
            self._tell_rate(talk.baud, refused, wanted.rate_asks)

    def _give_up_rate(self, wanted: _Wanted, baud: int) -> None:
        """Stay at the rate in force, unless another was asked for since."""
        with self._changed:
            if self._wanted.rate_asks == wanted.rate_asks:
                self._wanted = replace(self._wanted, baud=baud)

    def _lay_grid(self, wanted: _Wanted) -> None:
        now_ns = self._clock_ns()
        self._steady.restart(now_ns, wanted.interval_s)
        self._schedule = self._steady
        if wanted.trial is not None:
            self._schedule = TrialSchedule(wanted.trial, self._seed, self._legs)
            self._schedule.restart(now_ns)
            self._legs += 1

    def _poll(self, talk: Conversation, slot: Slot) -> None:
        with contextlib.ExitStack() as turn:
            turn.enter_context(self._changed)  # until it is written: once set_polling(False) is back, none is
            if self._told_something():
                return
            sent_ns = self._clock_ns()
            number, self._number = self._number, self._number + 1
            if slot.drawn is not None:
                self._tell_draw(replace(slot.drawn, poll=number))
            poll = Poll(number, slot.due_ns, sent_ns, PollOutcome.ERROR)
            answered = talk.ask(poll, hurry=lambda: self._wanted.stopping, written=turn.close)
        if answered.outcome is PollOutcome.REPLY:
            unseen_ns = UNAWAITED_NS if answered.reply_ns is None else 0
            with self._changed:
                self._took_ns.append(self._clock_ns() - sent_ns + unseen_ns)
