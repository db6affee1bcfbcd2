"""What a recorder has for its journal, in order, until the journal takes it."""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable, Sequence
from itertools import count
from typing import Any

from telltick.model.clock import NS, Anchor
from telltick.model.errors import JournalLockedError
from telltick.model.marks import MarkKind, Origin
from telltick.model.session import Gap, HealthNote, Outcome
from telltick.model.traffic import Burst, Poll
from telltick.model.trial import TrialSlot
from telltick.store.journal import BUSY_S, Journal

BRIEF_S = 0.1  # others write for milliseconds at a time; whoever takes longer is not waited for
RETRY_NS = NS // 2
TELL_AFTER_NS = 2 * NS
LAST_TRIES = 12  # at the end, of BUSY_S each
KIND = "journal locked"

_log = logging.getLogger(__name__)


class Ledger:
    """Entries on their way into the journal, each turn's in one transaction.

    What the journal refuses stays here, in order, and is offered again with what came after it.
    """

    def __init__(self, journal: Journal, now_ns: Callable[[], int]) -> None:
        """Begin.

        Args:
            journal: takes the entries; only briefly waited for from now on.
            now_ns: session time.
        """
        self._journal = journal
        self._now_ns = now_ns
        self._waiting: deque[Callable[[], Any]] = deque()
        self._gaps = count(1)
        self._gap_numbers: dict[int, int] = {}  # number here -> number in the journal
        self._retry_at_ns = 0
        self._locked_since_ns: int | None = None
        self._warned = False  # of this lock
        journal.wait_at_most(BRIEF_S)

    @property
    def waiting(self) -> int:
        """Entries that the journal has not taken yet."""
        return len(self._waiting)

    # ---- entries

    def add(self, entry: Callable[[], Any]) -> None:
        """Take an entry: a call of the journal, which may be made again when a transaction fails."""
        self._waiting.append(entry)

    def add_bursts(self, bursts: Sequence[Burst]) -> None:
        """As `Journal.add_bursts`."""
        if bursts:
            self.add(lambda: self._journal.add_bursts(bursts))

    def add_anchor(self, anchor: Anchor) -> None:
        """As `Journal.add_anchor`."""
        self.add(lambda: self._journal.add_anchor(anchor))

    def add_poll(self, poll: Poll) -> None:
        """As `Journal.add_poll`."""
        self.add(lambda: self._journal.add_poll(poll))

    def add_trial_slot(self, drawn: TrialSlot) -> None:
        """As `Journal.add_trial_slot`."""
        self.add(lambda: self._journal.add_trial_slot(drawn))

    def add_health(self, note: HealthNote) -> None:
        """As `Journal.add_health`."""
        self.add(lambda: self._journal.add_health(note))

    def add_outcome(self, outcome: Outcome) -> None:
        """As `Journal.add_outcome`."""
        self.add(lambda: self._journal.add_outcome(outcome))

    def add_change(self, t_ns: int, factor: str, value: str, note: str) -> None:
        """A mark of what the program, ours or the station's, changed at a session time."""
        self.add(
            lambda: self._journal.add_mark(
                t_ns=t_ns,
                settled_ns=t_ns,
                kind=MarkKind.CHANGE,
                factor=factor,
                value=value,
                note=note,
                origin=Origin.PROGRAM,
            )
        )

    def open_gap(self, gap: Gap) -> int:
        """As `Journal.open_gap`; the number is known here alone."""
        number = next(self._gaps)

        def entry() -> None:
            self._gap_numbers[number] = self._journal.open_gap(gap)

        self.add(entry)
        return number

    def close_gap(self, number: int, sample: int, end_ns: int) -> None:
        """As `Journal.close_gap`."""
        self.add(lambda: self._journal.close_gap(self._gap_numbers[number], sample, end_ns))

    # ---- into the journal

    def settle(self) -> None:
        """Hand over what waits, unless another program keeps the journal locked: then later.

        Raises:
            StorageError: the disk refuses; what waits is kept and offered again.
        """
        now_ns = self._now_ns()
        if not self._waiting or now_ns < self._retry_at_ns:
            return
        self._retry_at_ns = now_ns + RETRY_NS
        try:
            self._hand_over()
        except JournalLockedError:
            self._note_locked(now_ns)
            return
        self._retry_at_ns = 0
        self._tell_locked()

    def settle_at_last(self) -> None:
        """Hand over what waits with patience: there will be no later.

        Raises:
            StorageError: the disk refuses, or another program still keeps the journal locked.
        """
        self._journal.wait_at_most(BUSY_S)
        for tries_left in reversed(range(LAST_TRIES)):
            try:
                self._hand_over()
            except JournalLockedError:
                if not tries_left:
                    raise
            else:
                break
        self._tell_locked()
        self._hand_over()

    def _hand_over(self) -> None:
        if self._waiting:
            with self._journal.batch():
                for entry in self._waiting:
                    entry()
            self._waiting.clear()

    def _note_locked(self, now_ns: int) -> None:
        if self._locked_since_ns is None:
            self._locked_since_ns, self._warned = now_ns, False
        elif not self._warned and now_ns - self._locked_since_ns >= TELL_AFTER_NS:
            self._warned = True
            _log.warning("another program keeps the journal locked: close it; until then nothing is shown")

    def _tell_locked(self) -> None:
        since_ns, self._locked_since_ns = self._locked_since_ns, None
        now_ns = self._now_ns()
        if since_ns is not None and now_ns - since_ns >= TELL_AFTER_NS:
            lasted_s = (now_ns - since_ns) / NS
            words = (
                f"another program kept the journal locked for {lasted_s:.0f} s: what was to be written then "
                "was written late, and nothing is missing"
            )
            self.add_health(HealthNote(now_ns, KIND, lasted_s, words))
