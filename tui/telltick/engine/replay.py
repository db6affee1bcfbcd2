"""A saved session on the same screen: the moment is a playhead."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from pathlib import Path

from telltick.engine.told import told_until
from telltick.engine.viewing import SessionView, check_speed
from telltick.model.errors import BadSessionError
from telltick.model.snapshot import Phase


class Playhead:
    """A position that moves with the clock while it plays.

    Attributes:
        speed: session seconds per second.
        playing: it moves.
    """

    def __init__(self, start_ns: int, end_ns: int, clock_ns: Callable[[], int] = time.monotonic_ns) -> None:
        self._start_ns, self._end_ns = start_ns, end_ns
        self._clock_ns = clock_ns
        self._from_ns, self._at_ns = start_ns, clock_ns()
        self.speed = 1.0
        self.playing = True

    @property
    def position_ns(self) -> int:
        """Session time of the playhead; it stops at the end."""
        if not self.playing:
            return self._from_ns
        moved = int((self._clock_ns() - self._at_ns) * self.speed)
        return min(self._from_ns + moved, self._end_ns)

    @property
    def at_end(self) -> bool:
        """The playhead has reached the end."""
        return self.position_ns >= self._end_ns

    def seek(self, t_ns: int) -> None:
        """Move to a session time, kept within the session."""
        self._from_ns = max(self._start_ns, min(t_ns, self._end_ns))
        self._at_ns = self._clock_ns()

    def toggle(self) -> None:
        """Play or pause; playing on from the end begins again."""
        if not self.playing and self._from_ns >= self._end_ns:
            self.seek(self._start_ns)
        self.seek(self.position_ns)
        self.playing = not self.playing

    def set_speed(self, speed: float) -> None:
        """Change the speed from here on."""
        self.seek(self.position_ns)
        self.speed = speed


class SavedFeed(SessionView):
    """A saved session with a playhead; marks made here are late ones."""

    is_replay = True

    def __init__(
        self,
        folder: Path,
        speed: float = 1.0,
        clock_ns: Callable[[], int] = time.monotonic_ns,
        progress: Callable[[float], object] | None = None,
    ) -> None:
        """Open a session for replay.

        Args:
            folder: the session's.
            speed: session seconds per second.
            clock_ns: a clock that only rises.
            progress: told the share read while it is opened, 0 to 1.

        Raises:
            BadSessionError: not a session, or one without audio.
            BadInputError: a speed outside 0.5 to 64.
        """
        check_speed(speed)
        super().__init__(folder, progress)
        if not self._reader.anchors or not self._reader.audio.samples:
            self.close()
            raise BadSessionError(f"{folder} holds no audio to replay")
        self._head = Playhead(self._reader.start_ns, self._reader.end_ns, clock_ns)
        self._head.set_speed(speed)

    def moment_ns(self) -> int:
        """Session time of the playhead."""
        return self._head.position_ns

    def toggle(self) -> None:
        """Play or pause."""
        self._head.toggle()

    def set_speed(self, speed: float) -> None:
        """Set the replay speed."""
        self._head.set_speed(check_speed(speed))

    def seek(self, t_ns: int) -> None:
        """Move the playhead."""
        self._head.seek(t_ns)

    def seek_mark(self, direction: int) -> None:
        """Move the playhead to the next (+1) or previous (-1) mark."""
        here = self._head.position_ns
        times = [mark.t_ns for mark in self._reader.marks]
        ahead = [t for t in times if t > here]
        # A playing head runs on: going back must not land on the mark just passed again and again.
        behind = [t for t in times if t < here - int(0.7e9 * max(self._head.speed, 1.0))]
        if direction > 0 and ahead:
            self._head.seek(min(ahead))
        elif direction < 0 and behind:
            self._head.seek(max(behind))

    def _picture_moment(self) -> tuple[int, int, Phase]:
        now_ns = self._head.position_ns
        phase = Phase.PLAYING if self._head.playing and not self._head.at_end else Phase.PAUSED
        clock = self._reader.clock
        heard = now_ns + int(max(self._analyst.shift_s, 0.0) * 1e9)
        sample = float(clock.sample_at([heard])[0])
        if math.isnan(sample):  #: the playhead stands in a gap or past the end
            ends = [end for first, end in clock.runs if clock.t_at([first])[0] <= now_ns]
            sample = min(ends[-1] if ends else 0, self._reader.audio.samples)
        return int(min(sample, self._reader.audio.samples)), now_ns, phase

    def _known_until(self, sample: int) -> int:
        return min(sample, told_until(self._reader, growing=False))

    def _speed(self) -> float:
        return self._head.speed
