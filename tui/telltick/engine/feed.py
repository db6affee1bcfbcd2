"""What a screen needs of a session, live or saved. `engine.live` and `engine.replay` provide it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from telltick.model.marks import Mark
from telltick.model.measurement import Measurement
from telltick.model.session import SessionFacts, Verb
from telltick.model.snapshot import Snapshot, View


class SessionFeed(Protocol):
    """A session as the screen sees it.

    `look` is called from one worker thread at a time and may take tens of milliseconds. Everything else is
    quick (a journal row) and is called from the event loop. Times are session time in nanoseconds.
    """

    facts: SessionFacts
    folder: str
    is_replay: bool

    def look(self, view: View) -> Snapshot:
        """Measure and return what to show now."""

    def measure(self, progress: Callable[[float], bool]) -> Measurement:
        """Measure every step up to now, and what they say together; steps that are over are kept.

        Takes from tenths of a second to many seconds: call it from a worker thread of its own, one at a time.

        Args:
            progress: told the share done, 0 to 1; answers False to give up.

        Raises:
            CancelledError: progress said to give up.
        """

    def open_change(self, factor: str) -> int:
        """Begin hands-on time for a factor; returns the mark's number."""

    def settle_change(self, number: int, value: str, note: str = "") -> None:
        """End the hands-on time of a change with the factor's new value."""

    def leave_plain(self, number: int) -> None:
        """Turn a begun change into a plain mark where it began."""

    def plain_mark(self) -> int:
        """Mark this moment."""

    def add_note(self, text: str) -> int:
        """Write a remark at this moment."""

    def undo(self) -> Mark | None:
        """Withdraw the operator's newest standing mark made through this feed; returns it."""

    def redo(self) -> Mark | None:
        """Make the mark stand again that was withdrawn last through this feed; returns it."""

    def lock_latency(self, *, locked: bool) -> None:
        """Measure at the present latency from now on, or look for it again; the next picture shows it."""

    def ask(self, verb: Verb, value: str = "") -> None:
        """Ask the recorder for something; the outcome appears among the notices."""

    def close(self) -> None:
        """Let go of the session; a live recorder goes on."""


class ReplayFeed(SessionFeed, Protocol):
    """A saved session with a playhead."""

    def toggle(self) -> None:
        """Play or pause."""

    def set_speed(self, speed: float) -> None:
        """Set the replay speed, 0.5 to 64."""

    def seek(self, t_ns: int) -> None:
        """Move the playhead."""

    def seek_mark(self, direction: int) -> None:
        """Move the playhead to the next (+1) or previous (-1) mark."""
