"""How the screen was left, and how the process ends after it."""

from __future__ import annotations

import atexit
import os
from enum import Enum


class ScreenExit(Enum):
    """What becomes of the recording when the screen is left."""

    LEAVE_RECORDING = "leave recording"
    FINISH = "finish"
    DONE = "done"

    def farewell(self, folder: str) -> str:
        """A sentence for the terminal after the screen is gone.

        Args:
            folder: the session.
        """
        if self is ScreenExit.LEAVE_RECORDING:
            return f"still recording into {folder}; return with: telltick monitor --join {folder}"
        if self is ScreenExit.FINISH:
            return f"the recording ends; the session is {folder}"
        return f"the session is {folder}"


def end_at_once(code: int) -> None:
    """Have the process end with this code as soon as it wants to, whatever its threads are doing.

    Python ends threads when they next come out of compiled code; inside SciPy's transforms that aborts the
    whole process, with a message of C++ on the terminal.
    """
    atexit.register(os._exit, code)
