"""The character rate that a program chose for its end of a pseudo-terminal, seen from the other end."""

from __future__ import annotations

import array
import contextlib
import fcntl
import sys
import termios

TCGETS2 = 0x802C542A  # Linux, common architectures: reads the line settings with the rate as a plain number
TERMIOS2_WORDS, TERMIOS2_OSPEED = 11, 10
BAUD_OF = {
    getattr(termios, name): int(name[1:]) for name in dir(termios) if name[0] == "B" and name[1:].isdigit()
}


def line_baud(fd: int, fallback: int) -> int:
    """The rate that the program at the other end of a pseudo-terminal chose."""
    if sys.platform.startswith("linux"):
        settings = array.array("I", [0] * TERMIOS2_WORDS)
        with contextlib.suppress(OSError):
            fcntl.ioctl(fd, TCGETS2, settings, True)
            return settings[TERMIOS2_OSPEED] or fallback
    speed = termios.tcgetattr(fd)[5]
    return BAUD_OF.get(speed, int(speed)) or fallback
