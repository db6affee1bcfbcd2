"""What a bridge needs of the end that a station program opens, whatever kind of end it is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, slots=True)
class LineWish:
    """The line as a program wants it.

    Attributes:
        baud: bits per second.
        stop_bits: 1 or 2.
        data_bits: 5 to 8; None where nobody can say: as planned.
        parity: ``N``, ``E`` or ``O``; None where nobody can say.
    """

    baud: int
    stop_bits: int = 1
    data_bits: int | None = None
    parity: str | None = None

    @property
    def framing(self) -> str | None:
        """Such as ``8N1``; None where it is not known."""
        return None if self.data_bits is None else f"{self.data_bits}{self.parity or 'N'}{self.stop_bits}"


class ProgramEnd(Protocol):
    """A pseudo-terminal, or a connection over the network; used from the bridge's thread alone.

    Attributes:
        fd: a descriptor to poll while a program is there.
        take_line: where set, asked before a program is told that its wish was granted; returns True when it
            was, False to have it refused.
        tell: told of a kind of trouble, and words.
    """

    fd: int
    take_line: Callable[[LineWish], bool] | None
    tell: Callable[[str, str], None]

    @property
    def there(self) -> bool:
        """A program has it open."""

    @property
    def line(self) -> LineWish:
        """The line as the program wants it."""

    @property
    def pending(self) -> bool:
        """Something waits in it until the program takes more."""

    def read(self) -> bytes | None:
        """What the program has written; None when it is gone and has left nothing."""

    def write(self, data: bytes | bytearray) -> int:
        """Give bytes to the program; returns how many were taken."""

    def tend(self) -> None:
        """Do what is to be done now and then."""

    def clear(self) -> None:
        """Forget what the program left behind."""

    def name_again(self) -> bool:
        """Whether programs still find it; makes its name anew where it can."""

    def close(self) -> None:
        """Take it away; a program that has it open is hung up on."""
