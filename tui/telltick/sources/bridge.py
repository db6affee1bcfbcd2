"""A bridge: a station program talks to the radio through us, and every byte is stamped on its way.

The program opens a pseudo-terminal under a stable name, or a TCP port, as if it were the radio. Bytes pass
unmodified both ways; the rate and the framing that the program chooses are applied to the real port. Either
side may vanish and come back.
"""

from __future__ import annotations

import contextlib
import os
import select
import threading
from collections.abc import Callable
from dataclasses import replace

from telltick.model.clock import NS
from telltick.model.errors import DeviceError
from telltick.model.framing import Framing
from telltick.model.tap import LineChange, TapPlan
from telltick.model.traffic import Burst
from telltick.sources.line_thread import start_line_thread
from telltick.sources.program_end import LineWish, ProgramEnd
from telltick.sources.radio_end import RadioEnd
from telltick.sources.serial_port import PORT_ERRORS, Port
from telltick.sources.tapped_bursts import TappedBursts, char_ns

OPEN_ERRORS: tuple[type[Exception], ...] = (DeviceError, *PORT_ERRORS)
RETRY_NS = NS
SETTLED_NS = 2 * NS  # a program that opens and closes for every request is not told as coming and going
NAME_NS = 5 * NS
UNREAD_NS = NS  # so long a program may leave the radio's bytes unread before they are dropped
MOST_QUEUED = 65_536  # bytes held for a slow side
BUSY_MS = 5  # how soon a burst that is over is told, and a new program is seen
IDLE_MS = 50
BY_PROGRAM = "chosen by the program"
IN, OUT = select.POLLIN, select.POLLOUT


class Bridge:
    """Carries bytes between a station program and the radio from a thread of its own.

    Callbacks run in that thread and must be quick.
    """

    def __init__(
        self,
        plan: TapPlan,
        program: ProgramEnd,
        *,
        open_port: Callable[[TapPlan], Port],
        clock_ns: Callable[[], int],
        on_burst: Callable[[Burst], None],
        on_trouble: Callable[[str, str], None],
        on_change: Callable[[LineChange], None],
    ) -> None:
        """Set up; the port is opened by `start`'s thread.

        Args:
            plan: the real port.
            program: the end that the program opens; closed by `stop`.
            open_port: opens the plan's port; raises DeviceError.
            clock_ns: session time.
            on_burst: told of every run of bytes, in either direction.
            on_trouble: told of troubles: a kind (``serial lost``, ``serial back``, ``baud refused``,
                ``program not reading``, ``bridge name taken``, ``control lines kept low``) and words.
            on_change: told when the program opens or closes the line, or changes the rate.
        """
        self._plan = plan
        self._program = program
        self._open_port = open_port
        self._clock_ns = clock_ns
        self._trouble = on_trouble
        self._change = on_change
        self._bursts = TappedBursts(on_burst, char_ns(plan.line.bits_per_char, plan.baud))
        self._line = program.line  # as the program wants it
        self._refused: LineWish | None = None
        program.take_line, program.tell = self._take_line, on_trouble
        self._radio: RadioEnd | None = None
        self._lost = False
        self._lost_bytes = 0
        self._retry_at_ns = 0
        self._to_radio = bytearray()
        self._to_program = bytearray()
        self._unread_since_ns: int | None = None
        self._there = False
        self._left_ns: int | None = None  # when a program closed that may be back at once
        self._name_at_ns = 0
        self._named = True
        self._stopping = False
        self._wake_out, self._wake_in = os.pipe()
        self._thread: threading.Thread | None = None

    @property
    def baud(self) -> int:
        """Bits per second, as the program wants it."""
        return self._line.baud

    def start(self) -> None:
        """Open the port and begin."""
        self._thread = start_line_thread(self._run, "bridge", self._trouble)

    def stop(self) -> None:
        """Hang up on both sides and end the thread."""
        self._stopping = True
        os.write(self._wake_in, b"x")
        if self._thread is not None:
            self._thread.join(timeout=2.0)
        self._program.close()
        for fd in (self._wake_out, self._wake_in):
            os.close(fd)

    # ---- the bridge's thread

    def _run(self) -> None:
        try:
            while not self._stopping:
                try:
                    self._turn()
                except PORT_ERRORS as why:
                    self._lose(why)
        finally:
            self._bursts.flush()
            self._tell_left()
            self._close_radio()

    def _turn(self) -> None:
        """Wait for bytes and pass on what there is."""
        if self._radio is None:
            self._connect()
        ready = self._wait()
        self._program.tend()
        self._watch_program()
        if ready.get(self._program.fd, 0) & (IN | select.POLLHUP) and self._there:
            self._from_program()
        radio = self._radio
        if radio is not None and ready.get(radio.fd, 0) & (IN | select.POLLHUP | select.POLLERR):
            self._from_radio(radio)
        self._deliver()
        self._bursts.flush_silent(self._clock_ns())
        self._watch_name()

    def _wait(self) -> dict[int, int]:
        look = select.poll()
        look.register(self._wake_out, IN)
        if self._there:
            room = IN if len(self._to_radio) < MOST_QUEUED else 0
            look.register(self._program.fd, room | (OUT if self._to_program or self._program.pending else 0))
        if self._radio is not None:
            room = IN if len(self._to_program) < MOST_QUEUED else 0
            look.register(self._radio.fd, room | (OUT if self._to_radio else 0))
        soon = self._bursts.pending or not self._there
        return dict(look.poll(BUSY_MS if soon else IDLE_MS))

    # ---- the program

    def _watch_program(self) -> None:
        if not self._there and self._program.there:
            self._there = True
            self._to_program.clear()
            if self._left_ns is None:
                self._change(LineChange(self._clock_ns(), "program", "open"))
            self._left_ns = None
            self._from_program()
        elif self._left_ns is not None and self._clock_ns() - self._left_ns > SETTLED_NS:
            self._tell_left()
        if self._there:
            self._follow_line()

    def _from_program(self) -> None:
        data = self._program.read()
        if data is None:
            self._there = False
            self._left_ns = self._clock_ns()
            self._to_program.clear()
            self._program.clear()
        elif data:
            self._follow_line()
            if self._radio is None:
                self._lost_bytes += len(data)
            else:
                self._to_radio += data
                self._hand_over(self._radio)

    def _tell_left(self) -> None:
        left_ns, self._left_ns = self._left_ns, None
        if left_ns is not None:
            self._change(LineChange(left_ns, "program", "closed"))

    def _follow_line(self) -> None:
        """Apply the rate and framing that the program has chosen."""
        wanted = self._program.line
        if wanted not in (self._line, self._refused):
            self._take_line(wanted)

    def _take_line(self, wanted: LineWish) -> bool:
        """Apply a line; what the port refuses is told and not marked."""
        if self._radio is not None and not self._apply_line(self._radio, wanted):
            self._refused = wanted
            return False
        before, self._line, self._refused = self._line, wanted, None
        if wanted.baud != before.baud:
            self._change(LineChange(self._clock_ns(), "baud", f"{wanted.baud}", BY_PROGRAM))
        if wanted.framing != before.framing and wanted.framing is not None:
            self._change(LineChange(self._clock_ns(), "framing", wanted.framing, BY_PROGRAM))
        return True

    def _apply_line(self, radio: RadioEnd, line: LineWish) -> bool:
        try:
            radio.set_line(line)
        except PORT_ERRORS as why:
            self._trouble("baud refused", f"{self._plan.port} stays at {radio.baud} baud: {why}")
            return False
        self._bursts.set_char_ns(char_ns(self._bits_per_char(line), radio.baud))
        return True

    def _bits_per_char(self, line: LineWish) -> int:
        planned = self._plan.line
        shape = Framing(line.data_bits or planned.data_bits, line.parity or planned.parity, line.stop_bits)
        return shape.bits_per_char

    def _deliver(self) -> None:
        """Give both sides what waits for them."""
        if self._radio is not None and self._to_radio:
            self._hand_over(self._radio)
        if not self._to_program:
            self._unread_since_ns = None
            return
        taken = self._program.write(self._to_program) if self._there else 0
        del self._to_program[:taken]
        now_ns = self._clock_ns()
        if taken or self._unread_since_ns is None:
            self._unread_since_ns = now_ns
        elif len(self._to_program) >= MOST_QUEUED and now_ns - self._unread_since_ns > UNREAD_NS:
            self._trouble("program not reading", f"{len(self._to_program)} bytes of the radio were dropped")
            self._to_program.clear()

    # ---- the radio

    def _connect(self) -> None:
        now_ns = self._clock_ns()
        if now_ns < self._retry_at_ns:
            return
        self._retry_at_ns = now_ns + RETRY_NS
        try:
            self._radio = RadioEnd(self._open_port(replace(self._plan, baud=self._line.baud)))
        except OPEN_ERRORS as why:
            self._tell_lost(why)
            return
        self._apply_line(self._radio, self._line)
        if self._lost:
            self._lost = False
            lost, self._lost_bytes = self._lost_bytes, 0
            self._trouble(
                "serial back",
                f"{self._plan.port} answers to its name again; {lost} bytes of the program went nowhere",
            )

    def _lose(self, why: Exception) -> None:
        self._bursts.flush()
        self._close_radio()
        self._lost_bytes += len(self._to_radio)
        self._to_radio.clear()
        self._tell_lost(why)

    def _tell_lost(self, why: Exception) -> None:
        if not self._lost:
            self._lost = True
            self._trouble("serial lost", str(why))

    def _close_radio(self) -> None:
        radio, self._radio = self._radio, None
        if radio is not None:
            with contextlib.suppress(*PORT_ERRORS):  # a port that is gone need not be closed
                radio.close()

    def _from_radio(self, radio: RadioEnd) -> None:
        data = radio.read()
        if not data:
            return
        arrival_ns = self._clock_ns()
        if self._there:
            self._to_program += data
            self._deliver()
        self._bursts.received(data, arrival_ns)

    def _hand_over(self, radio: RadioEnd) -> None:
        sent_ns = self._clock_ns()
        taken = radio.write(self._to_radio)
        if taken:
            self._bursts.sent(bytes(self._to_radio[:taken]), sent_ns)
            del self._to_radio[:taken]

    # ---- the name

    def _watch_name(self) -> None:
        now_ns = self._clock_ns()
        if now_ns < self._name_at_ns:
            return
        self._name_at_ns = now_ns + NAME_NS
        before, self._named = self._named, self._program.name_again()
        if before and not self._named:
            self._trouble(
                "bridge name taken", f"{self._plan.link} leads somewhere else now: restart the bridge"
            )
