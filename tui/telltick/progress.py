"""How far a long command has come, on stderr and only at a terminal."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import TextIO

from telltick.model.closing import Closing

_SHOW_AFTER_S = 0.7  # what is quicker needs no bar
_EVERY_S = 0.2
_CELLS = 24


class ProgressBar(Closing):
    """A line such as ``measuring  [######......]  52 %  0:41 left`` that vanishes at the end.

    Call it with the share done, 0 to 1; it answers True: go on.
    """

    def __init__(
        self, what: str, stream: TextIO | None = None, clock: Callable[[], float] = time.monotonic
    ) -> None:
        """Prepare a bar.

        Args:
            what: what is being done, in a word or two.
            stream: where to draw; stderr unless given. Nothing is drawn where it is no terminal.
            clock: seconds that only rise.
        """
        self._what = what
        self._stream = stream if stream is not None else sys.stderr
        self._clock = clock
        self._began = self._drawn_at = clock()
        self._drawn = False
        self._terminal = self._stream is not None and self._stream.isatty()

    def __call__(self, share: float) -> bool:
        """Tell how much is done."""
        now = self._clock()
        early = now - self._began < _SHOW_AFTER_S or now - self._drawn_at < _EVERY_S
        if self._terminal and not early:
            self._drawn_at = now
            self._draw(min(max(share, 0.0), 1.0), now - self._began)
        return True

    def close(self) -> None:
        """Take the bar off the terminal."""
        if self._drawn:
            self._stream.write("\r\x1b[K")
            self._stream.flush()

    def _draw(self, share: float, spent_s: float) -> None:
        bar = "#" * round(_CELLS * share)
        left = f"{_minutes(spent_s * (1 - share) / share)} left" if share > 0.02 else "no telling yet"
        self._stream.write(f"\r{self._what}  [{bar:.<{_CELLS}}] {100 * share:3.0f} %  {left}\x1b[K")
        self._stream.flush()
        self._drawn = True


def _minutes(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"
