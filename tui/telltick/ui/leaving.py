"""How the screen was left."""

from __future__ import annotations

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
