"""The simulated radio: hears the request's characters on the line and answers them at the true rate.

Its command set is made up for this bench: ``Q1;`` asks for the status, and the reply carries a counter, the
strength of what is heard, a supply voltage and a temperature; ``Z1;`` is for another device on the line.
Pure: it is told when bytes come and says when what happens on the line; the same radio serves the live bench
and the offline renderer.
"""

from __future__ import annotations

import numpy as np

from telltick.model.clock import NS
from telltick.model.framing import Framing
from telltick.model.traffic import Burst, Direction

END = b";"
STATUS_REQUEST = b"Q1;"
OTHER_DEVICE = b"Z"  # begins requests for another device on the line, which this radio lets pass
REQUEST_FOR_ANOTHER = b"Z1;"
LONGEST_FRAME = 64


class Radio:
    """One radio on one serial line.

    Attributes:
        plugged: False while the serial cable is out; the radio then hears no request.
    """

    def __init__(
        self,
        seed: int,
        framing: Framing,
        turnaround_s: tuple[float, float] = (0.003, 0.007),
    ) -> None:
        """Switch on.

        Args:
            seed: of the replies' digits and the turn-around times.
            framing: the line's character framing.
            turnaround_s: shortest and longest time from the end of a request to the start of its reply.
        """
        self.plugged = True
        self._rng = np.random.default_rng(seed)
        self._framing = framing
        self._turnaround_s = turnaround_s
        self._heard = b""
        self._count = 0
        self._to_radio_free_ns = 0
        self._from_radio_free_ns = 0

    def hear(self, t_ns: int, data: bytes, baud: float) -> tuple[Burst, ...]:
        """Bytes leave the computer at `t_ns`: what this puts on the line, past and to come.

        Args:
            t_ns: any clock; the bursts are on the same one.
            data: the bytes.
            baud: the rate at which the computer sends them, which the radio follows.

        Returns:
            the bytes to the radio as a burst that starts no earlier than the line was free, then a burst for
            each reply.
        """
        char_ns = self._framing.char_time_s(baud) * NS
        start_ns = max(t_ns, self._to_radio_free_ns)
        bursts = [self._burst(start_ns, data, char_ns, Direction.TX)]
        self._to_radio_free_ns = bursts[0].end_ns
        if not self.plugged:
            return tuple(bursts)
        kept = len(self._heard)
        self._heard += data
        while END in self._heard:
            frame, self._heard = self._split()
            heard_ns = start_ns + round((len(frame) - kept) * char_ns)
            kept -= len(frame)
            if not frame.strip().startswith(OTHER_DEVICE):
                bursts.append(self._reply(heard_ns, frame, char_ns))
        self._heard = self._heard[-LONGEST_FRAME:]
        return tuple(bursts)

    def _split(self) -> tuple[bytes, bytes]:
        end = self._heard.index(END) + len(END)
        return self._heard[:end], self._heard[end:]

    def _reply(self, heard_ns: int, frame: bytes, char_ns: float) -> Burst:
        turnaround_ns = round(self._rng.uniform(*self._turnaround_s) * NS)
        start_ns = max(heard_ns + turnaround_ns, self._from_radio_free_ns)
        burst = self._burst(start_ns, self.answer(frame), char_ns, Direction.RX)
        self._from_radio_free_ns = burst.end_ns
        return burst

    def answer(self, frame: bytes) -> bytes:
        """The reply to one request; requests it does not know are answered with ``N;``."""
        if frame.strip() != STATUS_REQUEST:
            return b"N" + END
        self._count = (self._count + 1) % 10_000
        strength = int(self._rng.integers(80, 180))
        millivolts = int(self._rng.integers(13_550, 13_850))
        tenths_c = int(self._rng.integers(310, 342))
        return f"Q1 {self._count:04d} {strength:03d} {millivolts:05d} {tenths_c:03d}".encode() + END

    @staticmethod
    def _burst(start_ns: int, data: bytes, char_ns: float, direction: Direction) -> Burst:
        return Burst(start_ns, start_ns + round(len(data) * char_ns), direction, data)
