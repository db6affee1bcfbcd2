"""Our own poller: sends a request on schedule, stamps both directions, survives the loss of its port."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import serial

from telltick.model.clock import NS
from telltick.model.errors import DeviceError
from telltick.model.plan import PollPlan
from telltick.model.traffic import Burst, Direction, Poll, PollOutcome
from telltick.sources.byte_run import ByteRun
from telltick.sources.reply_rule import MAX_REPLY_BYTES, ReplyRule
from telltick.sources.schedule import Schedule, Slot
from telltick.sources.serial_port import PORT_ERRORS, READ_SLICE_S, Port

OPEN_ERRORS: tuple[type[Exception], ...] = (DeviceError, *PORT_ERRORS)
RETRY_S = 1.0
STRAY_SILENCE_NS = 20_000_000  # bytes that nobody waits for form one burst until the line is silent this long
LAST_WORDS_NS = 200_000_000  # how long a reply under way may still take when the poller is told to stop
SLICE_NS = round(READ_SLICE_S * NS)
NAP_S = 0.001


@dataclass(frozen=True, slots=True)
class _Wanted:
    """What the poller has been told; replaced as a whole, so that the thread sees every change.

    Attributes:
        grid: rises whenever the schedule is to start anew.
    """

    polling: bool
    interval_s: float
    baud: int
    grid: int = 1
    stopping: bool = False


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
        first_number: int = 0,
    ) -> None:
        """Set up; nothing is opened before `start`.

        Args:
            plan: what to poll and how.
            open_port: opens the plan's port; raises DeviceError.
            clock_ns: session time.
            seed: of the schedule's jitter.
            on_burst: told of every run of bytes, in either direction.
            on_poll: told of every poll once it is over. When the plan awaits no reply, a poll that was sent
                counts as answered, with no reply time.
            on_trouble: told of troubles: a kind (``serial lost``, ``serial back``, ``late reply``,
                ``incomplete reply``, ``serial garbage``, ``request blocked``, ``baud refused``) and words.
            first_number: number of the first poll.
        """
        self._plan = plan
        self._open_port = open_port
        self._clock_ns = clock_ns
        self._on_burst = on_burst
        self._on_poll = on_poll
        self._on_trouble = on_trouble
        self._rule = ReplyRule.of(plan)
        self._number = first_number
        self._schedule = Schedule(plan.interval_s, plan.jitter_ms, seed)
        self._changed = threading.Condition()
        self._wanted = _Wanted(plan.enabled, plan.interval_s, plan.baud)
        self._applied = replace(self._wanted, grid=0)
        self._port: Port | None = None
        self._lost = False
        self._slot: Slot | None = None
        self._stray = ByteRun()
        self._stray_kind: str | None = "serial garbage"
        self._last_number: int | None = None
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

    def start(self) -> None:
        """Open the port and begin."""
        self._thread = threading.Thread(target=self._run, name="poller", daemon=True)
        self._thread.start()

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
        self._want(new_grid=True, interval_s=interval_s)

    def set_baud(self, baud: int) -> None:
        """Change the character rate once the reply under way is in; a port may refuse it, and says so.

        Raises:
            ValueError: no such rate.
        """
        replace(self._plan, baud=baud)
        self._want(baud=baud)

    def _want(self, new_grid: bool = False, **changes: Any) -> None:
        with self._changed:
            self._wanted = replace(self._wanted, grid=self._wanted.grid + new_grid, **changes)
            self._changed.notify_all()

    # ---- the poller's thread

    def _run(self) -> None:
        while not self._wanted.stopping:
            if self._port is None:
                self._connect()
                continue
            try:
                self._turn(self._port)
            except PORT_ERRORS as why:
                self._lose(why)
        self._flush_stray()
        self._close()

    def _connect(self) -> None:
        try:
            self._port = self._open_port(replace(self._plan, baud=self._wanted.baud))
        except OPEN_ERRORS as why:
            self._tell_lost(why)
            with self._changed:
                self._changed.wait_for(lambda: self._wanted.stopping, timeout=RETRY_S)
            return
        if self._lost:
            self._lost = False
            self._on_trouble("serial back", f"{self._plan.port} answers to its name again")

    def _lose(self, why: Exception) -> None:
        self._flush_stray()
        self._close()
        self._tell_lost(why)

    def _tell_lost(self, why: Exception) -> None:
        if not self._lost:
            self._lost = True
            self._on_trouble("serial lost", str(why))

    def _close(self) -> None:
        port, self._port = self._port, None
        if port is not None:
            try:
                port.close()
            except PORT_ERRORS as why:
                self._tell_lost(why)

    def _turn(self, port: Port) -> None:
        """One poll, or a moment of listening."""
        wanted = self._wanted
        if wanted is not self._applied:
            self._apply(port, wanted)
        now_ns = self._clock_ns()
        if not wanted.polling:
            self._listen(port, now_ns + SLICE_NS)
            return
        if self._slot is None or self._slot.due_ns < now_ns:
            self._slot = self._schedule.next_slot(now_ns)
        if self._listen(port, self._slot.due_ns):
            slot, self._slot = self._slot, None
            self._flush_stray()
            self._poll(port, slot)

    def _apply(self, port: Port, wanted: _Wanted) -> None:
        before, self._applied = self._applied, wanted
        if wanted.grid != before.grid:
            self._schedule.restart(self._clock_ns(), wanted.interval_s)
            self._slot = None
        if wanted.baud != port.baudrate:
            self._apply_baud(port, wanted.baud)

    def _apply_baud(self, port: Port, baud: int) -> None:
        before = port.baudrate
        try:
            port.baudrate = baud
        except PORT_ERRORS as why:
            self._on_trouble("baud refused", f"{self._plan.port} stays at {before} baud: {why}")
            port.baudrate = before
            self._want(baud=before)

    def _listen(self, port: Port, until_ns: int) -> bool:
        """Take in what nobody waits for; False when told something new before `until_ns`."""
        while self._wanted is self._applied:
            left_ns = until_ns - self._clock_ns()
            if left_ns <= 0:
                return True
            self._take_stray(self._read(port, left_ns))
        return False

    def _read(self, port: Port, within_ns: int) -> bytes:
        """What has come, waiting for it no longer than a slice and not much beyond `within_ns`."""
        if within_ns < SLICE_NS and not port.in_waiting:
            time.sleep(min(within_ns / NS, NAP_S))
            return b""
        data = port.read(1)
        return data + port.read(port.in_waiting) if data and port.in_waiting else data

    # ---- bytes that nobody waits for

    def _take_stray(self, data: bytes) -> None:
        now_ns = self._clock_ns()
        if self._stray.data and now_ns - self._stray.last_ns > STRAY_SILENCE_NS:
            self._flush_stray()
        if data:
            self._stray.add(data, now_ns)

    def _flush_stray(self) -> None:
        run, self._stray = self._stray, ByteRun()
        if not run.data:
            return
        self._on_burst(run.burst(self._char_ns, self._last_number))
        if self._stray_kind is not None:
            self._on_trouble(self._stray_kind, f"{len(run.data)} bytes that no request was waiting for")

    @property
    def _char_ns(self) -> float:
        baud = self._port.baudrate if self._port is not None else self._applied.baud
        return self._plan.line.char_time_s(baud) * NS

    # ---- one poll

    def _poll(self, port: Port, slot: Slot) -> None:
        with self._changed:  # so that no burst starts after set_polling(False) has returned
            if self._wanted is not self._applied:
                return
            sent_ns = self._clock_ns()
        number, self._number = self._number, self._number + 1
        self._last_number = number
        sent = Poll(number, slot.due_ns, sent_ns, PollOutcome.ERROR)
        try:
            port.write(self._plan.frame)
        except PORT_ERRORS as why:
            self._on_poll(sent)
            if not isinstance(why, serial.SerialTimeoutException):
                raise
            self._on_trouble("request blocked", f"the handshake of {self._plan.port} holds requests back")
            return
        # A port's driver paces the line: the bytes leave one after the other from about now on.
        end_ns = sent_ns + round(len(self._plan.frame) * self._char_ns)
        self._on_burst(Burst(sent_ns, end_ns, Direction.TX, self._plan.frame, number))
        self._on_poll(self._reply_to(port, sent, end_ns))

    def _reply_to(self, port: Port, sent: Poll, end_ns: int) -> Poll:
        if not self._rule.awaited:
            self._stray_kind = None
            return replace(sent, outcome=PollOutcome.REPLY)
        run = ByteRun()
        try:
            complete = self._collect(port, run, end_ns)
        except PORT_ERRORS:
            self._report_run(run, sent.number)
            self._on_poll(sent)
            raise
        burst = self._report_run(run, sent.number)
        if complete and burst is not None:
            self._stray_kind = "serial garbage"
            reply_ns = max(0, burst.start_ns - end_ns)
            return replace(sent, outcome=PollOutcome.REPLY, reply_ns=reply_ns)
        self._stray_kind = "late reply"
        if burst is not None:
            self._on_trouble("incomplete reply", f"{len(burst.data)} bytes, then nothing more")
        return replace(sent, outcome=PollOutcome.TIMEOUT)

    def _report_run(self, run: ByteRun, number: int) -> Burst | None:
        if not run.data:
            return None
        burst = run.burst(self._char_ns, number)
        self._on_burst(burst)
        return burst

    def _collect(self, port: Port, run: ByteRun, end_ns: int) -> bool:
        """Read the reply into `run`; True when it is complete, False when nothing came for too long."""
        patience_ns = round(self._plan.reply_timeout_ms * 1e6)
        give_up_ns = end_ns + patience_ns
        while len(run.data) < MAX_REPLY_BYTES:
            now_ns = self._clock_ns()
            if self._wanted.stopping:
                give_up_ns = min(give_up_ns, end_ns + LAST_WORDS_NS)
            if run.data and self._rule.silent(now_ns - run.last_ns):
                return True
            if now_ns >= give_up_ns:
                return False
            data = self._read(port, SLICE_NS)
            if not data:
                continue
            arrival_ns = self._clock_ns()
            end = self._rule.end(run.data + data)
            taken = len(data) if end is None else end - len(run.data)
            run.add(data[:taken], arrival_ns)
            if end is not None:
                if data[taken:]:
                    self._stray.add(data[taken:], arrival_ns)
                return True
            give_up_ns = max(give_up_ns, arrival_ns + patience_ns)
        return False
