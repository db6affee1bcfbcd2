"""A serial line on which others talk: what to open, and how to take part."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from telltick.model.framing import Framing
from telltick.model.traffic import Direction

LOOPBACK = "127.0.0.1"
MOST_CHANNELS = 32


@dataclass(frozen=True, kw_only=True)
class TapPlan:
    """A line that is watched, not polled.

    Attributes:
        port: a device or any pyserial URL.
        baud: bits per second; with a bridge, until the station program chooses.
        framing: such as ``8N1``. A pseudo-terminal shows neither data bits nor parity, so such a bridge takes
            these from here and only the stop bits from the program.
        handshake: ``none``, ``rtscts``, ``dsrdtr`` or ``xonxoff``.
        link: name under which a station program finds the bridge; or
        tcp_port: TCP port on which it finds it (RFC 2217). With neither of the two it only listens.
        tcp_address: address of this machine that the TCP port is on.
    """

    port: str
    baud: int = 9600
    framing: str = "8N1"
    handshake: Literal["none", "rtscts", "dsrdtr", "xonxoff"] = "none"
    link: Path | None = None
    tcp_port: int | None = None
    tcp_address: str = LOOPBACK

    def __post_init__(self) -> None:
        """Refuse lines that cannot be.

        Raises:
            ValueError: the message starts with the name of the offending key.
        """
        Framing.parse(self.framing)
        if not 50 <= self.baud <= 4_000_000:
            raise ValueError(f"baud: must be 50 to 4000000, not {self.baud}")
        if self.tcp_port is not None and not 1 <= self.tcp_port <= 65_535:
            raise ValueError(f"tcp_port: must be 1 to 65535, not {self.tcp_port}")

    @property
    def line(self) -> Framing:
        """The character framing."""
        return Framing.parse(self.framing)

    @property
    def way(self) -> str:
        """``bridge`` or ``listen``."""
        return "listen" if self.link is None and self.tcp_port is None else "bridge"


@dataclass(frozen=True, kw_only=True)
class ChannelPlan:
    """A data line that is heard on a channel of the sound input.

    Attributes:
        channel: counted from 1.
        baud: bits per second; None where nobody knows: bursts are found, characters are not read.
        framing: such as ``8N1``.
        direction: which way its bytes flow.
    """

    channel: int
    baud: int | None = None
    framing: str = "8N1"
    direction: Direction = Direction.TX

    def __post_init__(self) -> None:
        """Refuse lines that cannot be.

        Raises:
            ValueError: the message starts with the name of the offending key.
        """
        Framing.parse(self.framing)
        if not 1 <= self.channel <= MOST_CHANNELS:
            raise ValueError(f"poll channel: must be 1 to {MOST_CHANNELS}, not {self.channel}")
        if self.baud is not None and not 50 <= self.baud <= 115_200:
            raise ValueError(f"baud: must be 50 to 115200 for a line that is heard, not {self.baud}")


@dataclass(frozen=True, slots=True)
class LineChange:
    """Something that the far program, or our poller by itself, did to the line, for an automatic mark.

    Attributes:
        t_ns: session time.
        factor: ``program``, ``baud``, ``framing`` or ``coin trial``.
        value: ``open`` or ``closed``; or the rate; or such as ``8E1``.
        note: more about it.
    """

    t_ns: int
    factor: str
    value: str
    note: str = ""
