"""Requests and replies over one open port, each byte stamped; what nobody asked for is kept too."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace

import serial

from telltick.model.clock import NS
from telltick.model.plan import PollPlan
from telltick.model.traffic import Burst, Direction, Poll, PollOutcome
from telltick.sources.byte_run import ByteRun
from telltick.sources.echo import EchoWatch, Incoming
from telltick.sources.reply_rule import MAX_REPLY_BYTES, ReplyRule
from telltick.sources.serial_port import PORT_ERRORS, READ_SLICE_S, Port

STRAY_SILENCE_NS = 20_000_000  # bytes that nobody waits for form one burst until the line is silent this long
LAST_WORDS_NS = 200_000_000  # how long a reply under way may still take when time presses
SLICE_NS = round(READ_SLICE_S * NS)
NAP_S = 0.001


@dataclass(frozen=True, slots=True)
class Reports:
    """Who is told of what; every function must be quick.

    Attributes:
        burst: every run of bytes, in either direction.
        poll: every poll, once it is over.
        trouble: a kind of trouble, and words.
    """

    burst: Callable[[Burst], None]
    poll: Callable[[Poll], None]
    trouble: Callable[[str, str], None]


class Conversation:
    """Talks over one port from one thread. Any call may raise one of `PORT_ERRORS` when the port is lost."""

    def __init__(self, port: Port, plan: PollPlan, clock_ns: Callable[[], int], tell: Reports) -> None:
        self._port = port
        self._plan = plan
        self._frame = plan.frame
        self._clock_ns = clock_ns
        self._tell = tell
        self._rule = ReplyRule.of(plan)
        self._stray = ByteRun()
        self._stray_kind: str | None = "serial garbage"
        self._echo = EchoWatch(plan.frame, self._rule)
        self._last_number: int | None = None
        self._last_end_ns = 0

    @property
    def baud(self) -> int:
        """Bits per second."""
        return self._port.baudrate

    def set_baud(self, baud: int) -> str:
        """Change the rate; returns why the port refused, which then keeps its own; empty when it did not."""
        before = self._port.baudrate
        try:
            self._port.baudrate = baud
        except PORT_ERRORS as why:
            self._port.baudrate = before
            return f"{self._plan.port} stays at {before} baud: {why}"
        return ""

    def send_from_now(self, frame: bytes) -> None:
        """Ask with another request, from the next poll on."""
        self._frame = frame
        self._echo.watch_for(frame)

    def close(self) -> None:
        """Tell what was left over, and let go of the port."""
        self._flush_stray()
        self._port.close()

    # ---- bytes that nobody waits for

    def listen(self, until_ns: int, interrupted: Callable[[], bool]) -> bool:
        """Take in what nobody waits for; False when interrupted before session time `until_ns`."""
        while not interrupted():
            left_ns = until_ns - self._clock_ns()
            if left_ns <= 0:
                return True
            self._take_stray(self._read(left_ns))
        return False

    def _read(self, within_ns: int) -> bytes:
        """What has come, waiting for it no longer than a slice and not much beyond `within_ns`."""
        if within_ns < SLICE_NS and not self._port.in_waiting:
            time.sleep(min(within_ns / NS, NAP_S))
            return b""
        data = self._port.read(1)
        waiting = self._port.in_waiting if data else 0
        return data + self._port.read(waiting) if waiting else data

    def _take_stray(self, data: bytes) -> None:
        now_ns = self._clock_ns()
        if self._stray.data and now_ns - self._stray.last_ns > STRAY_SILENCE_NS:
            self._flush_stray()
        if data:
            self._stray.add(data, now_ns)

    def _flush_stray(self) -> None:
        run, self._stray = self._without_echo(self._stray), ByteRun()
        if self._told(run, self._last_number) and self._stray_kind is not None:
            self._tell.trouble(self._stray_kind, f"{len(run.data)} bytes that no request was waiting for")

    def _without_echo(self, run: ByteRun) -> ByteRun:
        """Bytes that nobody waited for, but for the echo of a request whose reply is not waited for."""
        if self._rule.awaited or not run.data:
            return run
        incoming = Incoming()
        incoming.add(bytes(run.data), run.last_ns)
        return incoming.run(self._echo_length(incoming, self._last_end_ns) or 0)

    def _told(self, run: ByteRun, number: int | None) -> Burst | None:
        """Tell of a run as a burst, if there is anything in it."""
        if not run.data:
            return None
        burst = run.burst(self._char_ns, number)
        self._tell.burst(burst)
        return burst

    @property
    def _char_ns(self) -> float:
        return self._plan.line.char_time_s(self._port.baudrate) * NS

    # ---- one poll

    def ask(self, poll: Poll, hurry: Callable[[], bool], written: Callable[[], None] = lambda: None) -> Poll:
        """Send the request at once and take the reply in; both, and the poll with its outcome, are told.

        Args:
            poll: number, due time and the present moment as the time it is sent.
            hurry: true when a slow reply must not be waited for.
            written: called once the request is in the port's hands.
        """
        self._flush_stray()
        self._last_number = poll.number
        outcome = replace(poll, outcome=PollOutcome.ERROR)
        try:
            self._port.write(self._frame)
            written()
            # A port's driver paces the line: the bytes leave one after the other from about now on.
            end_ns = poll.sent_ns + round(len(self._frame) * self._char_ns)
            self._tell.burst(Burst(poll.sent_ns, end_ns, Direction.TX, self._frame, poll.number))
            outcome = self._reply_to(poll, end_ns, hurry)
        except serial.SerialTimeoutException:
            self._tell.trouble("request blocked", f"the handshake of {self._plan.port} holds requests back")
        finally:
            self._tell.poll(outcome)
        return outcome

    def _reply_to(self, poll: Poll, end_ns: int, hurry: Callable[[], bool]) -> Poll:
        """The poll with its outcome, once the reply to a request that ended at `end_ns` is in or overdue."""
        self._last_end_ns = end_ns
        if not self._rule.awaited:
            self._stray_kind = None
            return replace(poll, outcome=PollOutcome.REPLY)
        incoming, span = Incoming(), None
        try:
            span = self._collect(incoming, end_ns, hurry)
        finally:
            first, last = span or ((self._echo_length(incoming, end_ns) or 0), None)
            burst = self._told(incoming.run(first, last), poll.number)
        if span is not None and burst is not None:
            self._stray = incoming.run(span[1])
            self._stray_kind = "serial garbage"
            reply_ns = max(0, burst.start_ns - end_ns)
            return replace(poll, outcome=PollOutcome.REPLY, reply_ns=reply_ns)
        self._stray_kind = "late reply"
        if burst is not None:
            self._tell.trouble("incomplete reply", f"{len(burst.data)} bytes, then nothing more")
        return replace(poll, outcome=PollOutcome.TIMEOUT)

    def _collect(self, incoming: Incoming, end_ns: int, hurry: Callable[[], bool]) -> tuple[int, int] | None:
        """Read on until the reply is complete; returns where it begins and ends in what came.

        None when nothing came for too long.
        """
        patience_ns = round(self._plan.reply_timeout_ms * 1e6)
        give_up_ns = end_ns + patience_ns
        while len(incoming.data) < MAX_REPLY_BYTES:
            now_ns = self._clock_ns()
            if hurry():
                give_up_ns = min(give_up_ns, end_ns + LAST_WORDS_NS)
            overdue = now_ns >= give_up_ns
            span = self._reply_in(incoming, end_ns, now_ns, overdue)
            if span is not None or overdue:
                return span
            data = self._read(SLICE_NS)
            if data:
                incoming.add(data, self._clock_ns())
                give_up_ns = incoming.last_ns + patience_ns
        return None

    def _reply_in(
        self, incoming: Incoming, end_ns: int, now_ns: int, overdue: bool
    ) -> tuple[int, int] | None:
        """Where the reply begins and ends in what has come; None while it is not complete."""
        first = self._echo_length(incoming, end_ns)
        if first is None and not overdue:
            return None
        first = first or 0
        reply = incoming.data[first:]
        end = self._rule.end(reply)
        if end is None and reply and self._rule.silent(now_ns - incoming.last_ns):
            end = len(reply)
        return None if end is None else (first, first + end)

    def _echo_length(self, incoming: Incoming, end_ns: int) -> int | None:
        """How many bytes at the start are the echo of the request; the first echo is told."""
        before = self._echo.found
        length = self._echo.skip(incoming, end_ns, self._char_ns)
        if self._echo.found and not before:
            self._tell.trouble(
                "echo", "the cable hands back every byte that is sent: replies are counted without"
            )
        return length
