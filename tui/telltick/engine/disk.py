"""The disk under a recording: a warning while there is time, an orderly stop when it is full, a way on."""

from __future__ import annotations

import contextlib
from collections import deque
from collections.abc import Callable
from pathlib import Path

from telltick.engine.capture import AudioCapture, Notebook
from telltick.model.clock import NS
from telltick.model.errors import StorageError
from telltick.model.session import GapKind, HealthNote
from telltick.store.reserve import RESERVE_BYTES, Reserve, free_bytes

KIND = "disk space"
LOOK_EVERY_NS = 10 * NS
RETRY_EVERY_NS = NS
WINDOW_NS = 60 * NS
WARN_BELOW_S = (3600, 1200, 300, 60)
GO_ON_S = 10  # seconds of audio that must fit before a recording goes on
JOURNAL_BYTES_PER_S = 2_000  # 20 polls a second need about as much
STOPPED = "the disk is full: recording stopped; free some space, then ask to resume"


class DiskWatch:
    """Watches the room left for a session.

    Attributes:
        full: recording has stopped; audio and bursts are let go until `resume`.
    """

    def __init__(
        self, folder: Path, journal: Notebook, capture: AudioCapture, rate_hz: int, now_ns: Callable[[], int]
    ) -> None:
        self._folder = folder
        self._journal = journal
        self._capture = capture
        self._now_ns = now_ns
        self._own_bytes_per_s = 2.0 * rate_hz + JOURNAL_BYTES_PER_S
        self._reserve = Reserve(folder)
        self._reserve.hold()
        self._seen: deque[tuple[int, int]] = deque()  # (session time, bytes free)
        self._look_at_ns = 0
        self._warned_below_s = float("inf")
        self._untold = False
        self._let_go = 0
        self.full = False

    def close(self) -> None:
        """Give the reserve back: what is still to be written may need it."""
        self._reserve.release()

    def watch(self) -> None:
        """Look now and then; a stop that could not be journalled is told as soon as it can be."""
        now_ns = self._now_ns()
        if now_ns < self._look_at_ns:
            return
        self._look_at_ns = now_ns + (RETRY_EVERY_NS if self._untold else LOOK_EVERY_NS)
        if self._untold:
            self._tell_stop()
        elif not self.full:
            self._warn(now_ns)

    def stop(self) -> None:
        """Stop recording in an orderly way: the audio so far is whole, the journal says what happened."""
        if not self.full:
            self.full = True
            self._let_go = 0
            self._untold = True
            self._reserve.release()
        if self._untold:
            self._tell_stop()

    def let_go(self, bursts: int) -> None:
        """Count bursts that were not kept."""
        self._let_go += bursts

    def resume(self) -> str:
        """Go on recording; returns words about it.

        Raises:
            ValueError: recording has not stopped, or there is not room enough yet; the message says which.
        """
        if not self.full:
            raise ValueError("the recording is running: there is nothing to resume")
        needed = RESERVE_BYTES + self._own_bytes_per_s * GO_ON_S
        free = free_bytes(self._folder)
        if free < needed or not self._reserve.hold():
            raise ValueError(
                f"the disk has {free / 1e6:.1f} MB free and recording needs {needed / 1e6:.1f} MB to go on: "
                "free some space first"
            )
        if self._untold:
            self._tell_stop()
        self.full = False
        self._warned_below_s = float("inf")
        self._look_at_ns = 0
        self._seen.clear()
        self._capture.resume()
        return f"recording goes on; {self._let_go} bursts were not kept while the disk was full"

    def _tell_stop(self) -> None:
        self._look_at_ns = self._now_ns() + RETRY_EVERY_NS
        with contextlib.suppress(StorageError):
            self._capture.pause(GapKind.DISK_FULL, STOPPED)
            self._journal.add_health(HealthNote(self._now_ns(), "disk full", 0.0, STOPPED))
            self._untold = False

    def _warn(self, now_ns: int) -> None:
        left_s = self._left_s(now_ns)
        below = [limit for limit in WARN_BELOW_S if left_s < limit]
        if not below:
            self._warned_below_s = float("inf")
        elif min(below) < self._warned_below_s:
            self._warned_below_s = min(below)
            note = f"room for about {_span(left_s)} more at the present rate: free some space"
            self._journal.add_health(HealthNote(now_ns, KIND, left_s, note))

    def _left_s(self, now_ns: int) -> float:
        """Time until the disk is full, by what this recording writes or by how fast the room shrinks."""
        try:
            free = free_bytes(self._folder)
        except OSError:
            return float("inf")
        self._seen.append((now_ns, free))
        while now_ns - self._seen[0][0] > WINDOW_NS:
            self._seen.popleft()
        then_ns, then_free = self._seen[0]
        shrinks = (then_free - free) * NS / (now_ns - then_ns) if now_ns > then_ns else 0.0
        return free / max(self._own_bytes_per_s, shrinks)


def _span(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min"
