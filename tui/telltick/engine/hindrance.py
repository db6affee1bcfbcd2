"""What keeps a recording from being whole while nothing is wrong with its sound, in one sentence."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

from telltick.model.session import HealthNote
from telltick.sources.line_thread import FAILED

LOCKED = (
    "another program keeps the journal locked: close it. Sound is recorded; polls, marks and readings follow "
    "when it lets go"
)
_ADVICE = {
    FAILED: "the serial line is heard no more, by a fault of telltick: end this session and begin another",
    "serial lost": "the serial port is gone: check its cable; it is taken up again when it is back",
    "serial back": "",
}


class LineTally:
    """Follows what the recorder says of its serial line; a watch that failed does not come back."""

    def __init__(self) -> None:
        self._seen = 0
        self._t_ns: list[int] = []
        self._kinds: list[str] = []

    def follow(self, notes: Sequence[HealthNote]) -> None:
        """Take in notes that were added at the end."""
        for note in notes[self._seen :]:
            if note.kind in _ADVICE:
                at = bisect_right(self._t_ns, note.t_ns)
                self._t_ns.insert(at, note.t_ns)
                self._kinds.insert(at, note.kind)
        self._seen = len(notes)

    def until(self, now_ns: int) -> str:
        """What to do about the line at a moment; empty when it is well."""
        kinds = self._kinds[: bisect_right(self._t_ns, now_ns)]
        if not kinds:
            return ""
        return _ADVICE[FAILED if FAILED in kinds else kinds[-1]]
