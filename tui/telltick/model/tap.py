"""A serial line on which others talk: what to open, and how to take part."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from telltick.model.framing import Framing


@dataclass(frozen=True, kw_only=True)
class TapPlan:
    """A line that is watched, not polled.

    Attributes:
        port: a device or any pyserial URL.
        baud: bits per second; with a bridge, until the station program chooses.
        framing: such as ``8N1``. A pseudo-terminal shows neither data bits nor parity, so a bridge takes
            these from here and only the stop bits from the program.
        handshake: ``none``, ``rtscts``, ``dsrdtr`` or ``xonxoff``.
        link: name under which a station program finds the bridge; None only listens.
    """

    port: str
    baud: int = 9600
    framing: str = "8N1"
    handshake: Literal["none", "rtscts", "dsrdtr", "xonxoff"] = "none"
    link: Path | None = None

    def __post_init__(self) -> None:
        """Refuse lines that cannot be.

        Raises:
            ValueError: the message starts with the name of the offending key.
        """
        Framing.parse(self.framing)
        if not 50 <= self.baud <= 4_000_000:
            raise ValueError(f"baud: must be 50 to 4e+06, not {self.baud}")

    @property
    def line(self) -> Framing:
        """The character framing."""
        return Framing.parse(self.framing)

    @property
    def way(self) -> str:
        """``bridge`` or ``listen``."""
        return "listen" if self.link is None else "bridge"


@dataclass(frozen=True, slots=True)
class LineChange:
    """Something that the far program did to the line, for an automatic mark.

    Attributes:
        t_ns: session time.
        factor: ``program`` or ``baud``.
        value: ``open`` or ``closed``; or the rate.
        note: more about it.
    """

    t_ns: int
    factor: str
    value: str
    note: str = ""
