"""Marks made on screen, written straight into the session's journal."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from telltick.model.marks import Mark, MarkKind
from telltick.model.session import Verb
from telltick.store.journal import Journal

PATIENCE_S = 0.5  # the screen stands still while it waits; a recorder writes for milliseconds at a time


class Marker:
    """The operator's pen: each stroke is committed before the method returns, or refused.

    A stroke that is refused (`StorageError`) leaves everything as it was.

    The journal is opened at the first stroke, so that watching a session needs no right to write.
    """

    def __init__(
        self, folder: Path, moment_ns: Callable[[], int], *, late: bool | Callable[[], bool]
    ) -> None:
        """Prepare to mark.

        Args:
            folder: the session.
            moment_ns: session time of a stroke made now.
            late: True when the session is no longer being recorded, or asked so at every stroke.
        """
        self._folder = folder
        self._moment_ns = moment_ns
        self._late = late if callable(late) else lambda: late
        self._journal: Journal | None = None
        self._made: list[Mark] = []
        self._withdrawn: list[Mark] = []
        self.strokes = 0  # so many have been written

    def open_change(self, factor: str) -> int:
        """Begin the hands-on time of a factor."""
        return self._add(MarkKind.CHANGE, factor=factor)

    def adopt(self, mark: Mark) -> int:
        """Take over a mark that another viewer made, such as a change whose viewer died."""
        if all(made.number != mark.number for made in self._made):
            self._made.append(mark)
        return mark.number

    def settle_change(self, number: int, value: str, note: str = "") -> None:
        """End the hands-on time with the factor's new value."""
        mark = self._find(number)
        self._restate(replace(mark, settled_ns=max(self._moment_ns(), mark.t_ns), value=value, note=note))

    def leave_plain(self, number: int) -> None:
        """Make a plain mark of a change that was begun."""
        mark = self._find(number)
        self._restate(replace(mark, settled_ns=mark.t_ns, kind=MarkKind.PLAIN, factor=None, value=None))

    def plain_mark(self) -> int:
        """Mark this moment."""
        return self._add(MarkKind.PLAIN)

    def add_note(self, text: str) -> int:
        """Write a remark at this moment."""
        return self._add(MarkKind.NOTE, note=text)

    def undo(self) -> Mark | None:
        """Withdraw the newest standing mark made with this pen."""
        if not self._made:
            return None
        mark = self._made[-1]
        self._open().withdraw_mark(mark)
        self._withdrawn.append(self._made.pop())
        self.strokes += 1
        return mark

    def redo(self) -> Mark | None:
        """State the mark withdrawn last anew, where it stood; what was withdrawn stays in the journal too."""
        if not self._withdrawn:
            return None
        mark = self._withdrawn[-1]
        self._open().restate_mark(mark)
        self._made.append(self._withdrawn.pop())
        self.strokes += 1
        return mark

    def ask(self, verb: Verb, value: str = "") -> None:
        """Write a request to the recorder."""
        self._open().add_request(self._moment_ns(), verb, value)
        self.strokes += 1

    def close(self) -> None:
        """Put the pen down."""
        if self._journal is not None:
            self._journal.close()
            self._journal = None

    def _add(self, kind: MarkKind, factor: str | None = None, note: str = "") -> int:
        now = self._moment_ns()
        settled = None if kind is MarkKind.CHANGE else now
        mark = self._open().add_mark(
            t_ns=now, settled_ns=settled, kind=kind, factor=factor, note=note, late=self._late()
        )
        self._made.append(mark)
        self.strokes += 1
        return mark.number

    def _find(self, number: int) -> Mark:
        return next(mark for mark in self._made if mark.number == number)

    def _restate(self, mark: Mark) -> None:
        self._open().restate_mark(mark)
        self._made = [mark if made.number == mark.number else made for made in self._made]
        self.strokes += 1

    def _open(self) -> Journal:
        if self._journal is None:
            journal = Journal.open(self._folder)
            journal.wait_at_most(PATIENCE_S)
            self._journal = journal
        return self._journal
