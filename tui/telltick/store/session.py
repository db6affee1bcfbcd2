"""A session as its readers see it: read-only, live or saved."""

from __future__ import annotations

import contextlib
import threading
from bisect import bisect_left
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from telltick.model.clock import NS, Anchor, AudioClock
from telltick.model.closing import Closing
from telltick.model.document import SessionDocument
from telltick.model.errors import BadSessionError
from telltick.model.marks import Mark, MarkRow, standing_marks
from telltick.model.session import SCHEMA, Ending, Gap, HealthNote, Outcome, Request, SessionFacts
from telltick.model.text import plain_text
from telltick.model.traffic import Burst, Gate
from telltick.model.trial import TrialSlot
from telltick.store.anchors import AnchorColumns
from telltick.store.bursts import BurstColumns
from telltick.store.bursts_on_disk import BurstsOnDisk
from telltick.store.folder import check_session_folder, session_within
from telltick.store.follow import Follower, Row, clean, clean_deep, following, request_row
from telltick.store.long_table import LongTable
from telltick.store.polls import PollColumns, PollEnds, PollTable
from telltick.store.readonly import ReadOnlyJournal
from telltick.store.segments import AudioReader

_BURST_COLUMNS = "start_ns, end_ns, direction, data, poll"
SETTLING = 15  # anchors at the start of a run that its mapping is levelled out with
RATES_HZ = (8_000, 384_000)  # what a session can have
_NUMBERS_OF_PLAN = ("interval_s", "jitter_ms", "baud", "reply_bytes", "reply_silence_ms", "reply_timeout_ms")
_LARGEST_OF_PLAN = 1e8
_MARK_COLUMNS = "row, withdrawn, number, t_ns, settled_ns, kind, factor, value, note, origin, late"


LONG_TABLES = ("poll", "burst", "anchor")


class SessionReader(Closing):
    """Everything in a session folder, kept up to date by `refresh`.

    Nothing is ever written to the session. What is read is kept, so that a refresh fetches only what is new;
    audio stays on disk. Text is made harmless for a terminal on the way in. Any thread may refresh it; what
    it holds is read by one at a time.
    """

    def __init__(
        self, folder: Path, progress: Callable[[float], object] | None = None, *, sparing: bool = False
    ) -> None:
        """Open a session, or the one in a bag, and read what it holds.

        Args:
            folder: the session's.
            progress: told the share read while it is opened, 0 to 1.
            sparing: for measuring alone. Bursts stay in the journal and are read again where `gate` asks for
                them, and of polls only how they ended is known: `bursts`, `burst_columns`, `forget_before`
                and the items of `polls` raise TypeError.

        Raises:
            BadSessionError: not a session, damaged, or written by a newer telltick.
        """
        folder = self.folder = check_session_folder(session_within(folder))
        self._polls: PollColumns | PollEnds = PollEnds() if sparing else PollColumns()
        self._mark_rows = following(MarkRow, "mark", _MARK_COLUMNS, _mark_row)
        self._anchors = AnchorColumns()
        self._gaps = following(Gap, "gap", "kind, sample, start_ns, end_ns, note")
        self._health = following(HealthNote, "health", "t_ns, kind, value, note")
        self._requests = following(Request, "request", "number, t_ns, verb, value", request_row)
        self._outcomes = following(Outcome, "outcome", "request, t_ns, done, note", _outcome)
        self._trial_slots = following(
            TrialSlot, "trial_slot", "poll, leg, cycle, cycle_ns, slot, slots, slot_ns", since=2
        )
        self._endings = following(Ending, "ending", "t_ns, how, note")
        self._tables: tuple[Follower[Any] | LongTable[Any], ...] = (
            self._polls,
            self._health,
            self._requests,
            self._outcomes,
            self._endings,
            self._gaps,
            self._trial_slots,
            self._anchors,
            self._mark_rows,
        )
        self._version = 0
        self._bursts: BurstColumns | BurstsOnDisk
        self._bursts = BurstsOnDisk(self._fetch_between) if sparing else BurstColumns()
        self._burst_objects: tuple[Burst, ...] = ()
        self._marks: tuple[Mark, ...] = ()
        self._clock: AudioClock | None = None  # without an end
        self._ended_clock: tuple[AudioClock, AudioClock | None, int] = (AudioClock(1), None, 0)  # of, samples
        self._burst_row, self._checked = -1, 0  # the last one read, and anchors looked at
        self._end: tuple[AudioClock | None, int, int] = (None, 0, 0)  # clock, samples, session time
        self.polls_forgotten = 0
        self._rows_at = 0  # sample at which the journal was asked last
        self._turn = threading.RLock()
        self._journal = ReadOnlyJournal(folder)
        try:
            self._read_first(progress)
        except BaseException:
            self._journal.close()
            raise

    def _read_first(self, progress: Callable[[float], object] | None) -> None:
        """Read all that there is."""
        self.facts = self._read_facts()
        self.audio = AudioReader(self.folder, self.facts.rate_hz)
        if progress is not None:
            self._journal.tell_of(LONG_TABLES, progress)
        self.refresh()
        self._journal.tell_no_more()

    def close(self) -> None:
        """Let go of the session."""
        self._journal.close()

    def refresh(self, *, rows_each_s: float = 0.0) -> bool:
        """Fetch what was added since the last call; True when something was.

        Args:
            rows_each_s: what the journal says is fetched after so much new sound, or when there is none.

        Raises:
            BadSessionError: the session has become damaged.
        """
        with self._turn:
            more_audio = self.audio.refresh()
            new_s = (self.audio.samples - self._rows_at) / self.facts.rate_hz
            if more_audio and 0 < new_s < rows_each_s:
                return True
            self._rows_at = self.audio.samples
            more_rows = self._journal.changed() and self._fetch()
            return more_audio or more_rows

    def forget_before(
        self, t_ns: int, *, polls_ns: int | None = None, bursts_kept_ns: Sequence[tuple[int, int]] = ()
    ) -> None:
        """Let go of polls, bursts and most anchors before a session time, so that a long watch stays small.

        Afterwards `polls`, `bursts`, `burst_columns` and `gate` know only what came later. The clock stays
        exact where anchors are left, and draws straight lines of a minute before.

        Args:
            t_ns: that time.
            polls_ns: the time for polls, where it is another.
            bursts_kept_ns: stretches of session time before it whose bursts stay.
        """
        with self._turn:
            if not isinstance(self._polls, PollColumns):
                raise TypeError("a session that is read sparingly forgets nothing")
            sent_ns, polls_ns = self._polls.sent_ns, t_ns if polls_ns is None else polls_ns
            gone = bisect_left(sent_ns, polls_ns, hi=max(len(sent_ns) - 1, 0))
            self.polls_forgotten += gone
            self._polls.keep(slice(gone, None))
            self.burst_columns.forget_before(t_ns, bursts_kept_ns)
            self._burst_objects = ()
            if self.anchors:
                self._anchors.keep(np.array(thinned(self.anchors, t_ns)))
                self._checked, self._clock = len(self.anchors), None

    # ---- what the journal says

    @property
    def bursts(self) -> tuple[Burst, ...]:
        """Bursts in the order journalled. For thousands of them `burst_columns` and `gate` are quicker."""
        if len(self._burst_objects) != len(self._bursts):
            self._burst_objects += tuple(self.burst_columns.since(len(self._burst_objects)))
        return self._burst_objects

    @property
    def burst_columns(self) -> BurstColumns:
        """The same as columns."""
        if not isinstance(self._bursts, BurstColumns):
            raise TypeError("a session that is read sparingly holds no bursts")
        return self._bursts

    @property
    def told_ns(self) -> int:
        """Session time of the newest anchor or start of a burst in the journal; 0 without any."""
        return max(self._anchors.newest_ns, self._bursts.newest_start_ns)

    @property
    def polls(self) -> PollTable:
        """Polls of our own poller."""
        return self._polls

    @property
    def trial_slots(self) -> tuple[TrialSlot, ...]:
        """The draws of the coin trial, in the order made."""
        return self._trial_slots.items

    @property
    def mark_rows(self) -> tuple[MarkRow, ...]:
        """Every statement about a mark, restatements and withdrawals among them."""
        return self._mark_rows.items

    @property
    def marks(self) -> tuple[Mark, ...]:
        """The marks that stand, in order of time."""
        return self._marks

    @property
    def anchors(self) -> Sequence[Anchor]:
        """Where the audio clock met the session clock."""
        return self._anchors

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """Stretches without audio."""
        return self._gaps.items

    @property
    def health(self) -> tuple[HealthNote, ...]:
        """The recorder's observations about its inputs."""
        return self._health.items

    @property
    def requests(self) -> tuple[Request, ...]:
        """What viewers asked for."""
        return self._requests.items

    @property
    def outcomes(self) -> tuple[Outcome, ...]:
        """What became of it."""
        return self._outcomes.items

    @property
    def ending(self) -> Ending | None:
        """How the session ended; None while it is recorded, or when its recorder was killed."""
        items = self._endings.items
        return items[-1] if items else None

    # ---- time

    @property
    def clock(self) -> AudioClock:
        """Maps session time to audio and back."""
        clock, samples = self._unended_clock, self.audio.samples
        ended, of, until = self._ended_clock
        if of is not clock or until != samples:
            ended = clock.ending_at(samples)
            self._ended_clock = (ended, clock, samples)
        return ended

    @property
    def _unended_clock(self) -> AudioClock:
        """The same but for where the audio ends, which it does at every look elsewhere."""
        clock = self._clock
        if clock is None:
            clock = self._clock = AudioClock(self.facts.rate_hz, self.anchors)
        return clock

    @property
    def start_ns(self) -> int:
        """Session time of the first audio sample; 0 before the first anchor."""
        return self._unended_clock.t_ns(0) if self.anchors else 0

    @property
    def end_ns(self) -> int:
        """Session time of the end of the audio."""
        samples = self.audio.samples
        if not self.anchors:
            return samples * NS // self.facts.rate_hz
        of, until, t_ns = self._end  # a look asks for it half a dozen times
        if of is not (clock := self._unended_clock) or until != samples:
            t_ns = clock.t_ns(samples)
            self._end = (clock, samples, t_ns)
        return t_ns

    def gate(self, start_ns: int | None = None, end_ns: int | None = None, *, texts: bool = True) -> Gate:
        """The bursts between two session times on the audio timeline, latency not applied.

        Args:
            start_ns: leave out bursts that end before; None takes all from the beginning.
            end_ns: leave out bursts that start at or after; None takes all to the end.
            texts: with the bytes of each burst.
        """
        return self._bursts.gate(self.clock, start_ns, end_ns, texts=texts)

    def document(self, *, bursts: bool = True) -> SessionDocument:
        """All it holds now, for export.

        Args:
            bursts: with the bytes on the line, of which there may be very many.
        """
        return SessionDocument(
            name=plain_text(self.folder.resolve().name),
            facts=self.facts,
            clock=self.clock,
            samples=self.audio.samples,
            bursts=self.bursts if bursts else (),
            marks=self.marks,
            mark_rows=self.mark_rows,
            gaps=self.gaps,
            health=self.health,
            requests=self.requests,
            outcomes=self.outcomes,
            ending=self.ending,
        )

    # ---- fetching

    def _fetch(self) -> bool:
        """Fetch from the tables that have grown; one look at their ends is quicker than a query each."""
        self._gaps.forget_from(lambda gap: gap.end_ns is None)
        if self._version < SCHEMA:
            self._version = self._journal.version()
        tables = [table for table in self._tables if table.since <= self._version]
        last = self._journal.last_rows([*(table.table for table in tables), "burst"])
        grown = [table for table, row in zip(tables, last, strict=False) if row > table.last_row]
        with self._nonsense_explained():
            new = {table.table for table in grown if table.fetch(self._journal)}
            if last[-1] > self._burst_row and self._fetch_bursts():
                new.add("burst")
            if "anchor" in new:
                self._anchors.check(self._checked)
                if self._clock is not None:  # as objects, those of a day would take 20 MB
                    self._clock = self._clock.with_more(self.anchors[self._checked :])
                self._checked = len(self.anchors)
            if "mark" in new:
                self._marks = standing_marks(self.mark_rows)
        return bool(new)

    def _fetch_bursts(self) -> bool:
        before = len(self._bursts)
        for page in self._journal.pages("burst", _BURST_COLUMNS, self._burst_row):
            self._bursts.extend(page)
            self._burst_row = page[-1][0]
        return len(self._bursts) > before

    def _fetch_between(self, into: BurstColumns, first_row: int, last_row: int) -> None:
        """Read bursts again that were looked at before."""
        query = f"SELECT rowid, {_BURST_COLUMNS} FROM burst WHERE rowid BETWEEN ? AND ? ORDER BY rowid"
        with self._turn, self._nonsense_explained():
            into.extend(self._journal.rows(query, first_row, last_row))

    def _read_facts(self) -> SessionFacts:
        found = self._journal.rows("SELECT name, json FROM fact LIMIT 100")
        with self._nonsense_explained():
            facts = {name: msgspec.json.decode(json) for name, json in found}
            read = msgspec.convert(clean_deep(facts), SessionFacts)
            _check_poll_facts(read.poll)
        low, high = RATES_HZ
        if not low <= read.rate_hz <= high:
            raise BadSessionError(
                f"{self.folder} claims a sample rate of {read.rate_hz} Hz; take a fresh copy"
            )
        return read

    @contextlib.contextmanager
    def _nonsense_explained(self) -> Iterator[None]:
        """A value of the wrong type in an intact file comes from a stranger's hand."""
        try:
            yield
        except (msgspec.MsgspecError, TypeError, ValueError, KeyError, OverflowError, RecursionError) as why:
            raise BadSessionError(
                f"the journal of {self.folder} holds nonsense ({plain_text(str(why))}); "
                "take a fresh copy of the session"
            ) from why


def thinned(anchors: Sequence[Anchor], t_ns: int) -> list[bool]:
    """Which anchors to keep: all from a session time on, and before it one a minute and each run's first."""
    kept: list[bool] = []
    run, in_run = None, 0
    for anchor in anchors:
        run, in_run = anchor.run, in_run + 1 if anchor.run == run else 0
        kept.append(anchor.t_ns >= t_ns or in_run < SETTLING or in_run % 60 == 0)
    return [*kept[:-1], True]


def _check_poll_facts(poll: Mapping[str, Any]) -> None:
    """Refuse numbers of a poll plan that are none.

    Raises:
        ValueError: the message names the key.
    """
    for key in _NUMBERS_OF_PLAN:
        value = poll.get(key)
        if value is not None and not (type(value) in (int, float) and 0 <= value <= _LARGEST_OF_PLAN):
            raise ValueError(f"poll.{key} is not a number that a plan may have")


def _mark_row(row: Row) -> Row:
    mark = clean(row)
    mark["late"] = bool(mark["late"])
    return {"row": mark.pop("row"), "withdrawn": bool(mark.pop("withdrawn")), "mark": mark}


def _outcome(row: Row) -> Row:
    return {**clean(row), "done": bool(row["done"])}
