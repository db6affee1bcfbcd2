"""Asynchronous serial framing: how long characters take and where the line's edges fall.

An idle line is at mark (level 1). A character is one start bit (0), the data bits least significant first, an
optional parity bit, and one or more stop bits (1): ANSI/TIA-404-B start-stop signalling.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from telltick.model.clock import Floats

STANDARD_BAUD = (1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200)


@dataclass(frozen=True, slots=True)
class Framing:
    """Shape of one character, written like ``8N1``.

    Attributes:
        data_bits: 5 to 8.
        parity: ``N``, ``E`` or ``O``.
        stop_bits: 1 or 2.
    """

    data_bits: int = 8
    parity: str = "N"
    stop_bits: int = 1

    @classmethod
    def parse(cls, text: str) -> Framing:
        """Read ``8N1``-style text.

        Raises:
            ValueError: it is not such text.
        """
        match = re.fullmatch(r"([5-8])([NEO])([12])", text.strip().upper())
        if match is None:
            raise ValueError(f"framing must look like 8N1, 8N2, 7E1 or 8E1, not {text!r}")
        return cls(int(match[1]), match[2], int(match[3]))

    @property
    def bits_per_char(self) -> int:
        """Bits on the line for each character, start, parity and stop bits included."""
        return 1 + self.data_bits + (self.parity != "N") + self.stop_bits

    def char_time_s(self, baud: float) -> float:
        """Time one character takes, in seconds: bits / baud."""
        return self.bits_per_char / baud

    def __str__(self) -> str:
        return f"{self.data_bits}{self.parity}{self.stop_bits}"


def line_bits(data: bytes, framing: Framing) -> npt.NDArray[np.int8]:
    """Levels (0 or 1) of back-to-back characters, one item per bit time; shape (len(data) * bits,)."""
    octets = np.frombuffer(data, dtype=np.uint8)
    bits = (octets[:, None] >> np.arange(framing.data_bits)) & 1
    columns = [np.zeros((len(octets), 1), dtype=np.uint8), bits]
    if framing.parity != "N":
        even = bits.sum(axis=1, keepdims=True) & 1
        columns.append(even if framing.parity == "E" else 1 - even)
    columns.append(np.ones((len(octets), framing.stop_bits), dtype=np.uint8))
    return np.concatenate(columns, axis=1).astype(np.int8).ravel()


def line_edges(data: bytes, baud: float, framing: Framing) -> tuple[Floats, Floats]:
    """Where the level of an idle-high line changes while `data` is sent back to back.

    Returns:
        times in seconds from the first start bit, and steps (-1 falling, +1 rising); both shape (edges,).
    """
    levels = np.concatenate([[1], line_bits(data, framing), [1]])
    steps = np.diff(levels)
    at = np.flatnonzero(steps)
    return at / float(baud), steps[at].astype(np.float64)
