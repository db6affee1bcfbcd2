"""The recorder: writes what the inputs say into a session folder, and waits for nobody.

Inputs push facts into one queue from their own threads; one loop takes them out and is the only writer of
audio. It looks for viewers' requests in the journal, carries them out and journals the outcome. A viewer that
stalls, dies or never existed makes no difference to it.
"""

from __future__ import annotations

import contextlib
import queue
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol

from telltick.engine.capture import AudioCapture
from telltick.engine.clocks import ClockWatch
from telltick.engine.complaints import Complaints, Trouble
from telltick.engine.disk import DiskWatch
from telltick.engine.errands import Errands, RateAnswer
from telltick.engine.fresh import clear
from telltick.engine.inputs import Inputs
from telltick.engine.instruct import Change
from telltick.engine.ledger import Ledger
from telltick.engine.line_channel import LineChannel
from telltick.model.clock import NS
from telltick.model.errors import (
    BadInputError,
    DeviceError,
    JournalLockedError,
    StorageError,
    TelltickError,
)
from telltick.model.marks import setup_at
from telltick.model.session import Ending, HealthNote, Outcome, SessionFacts, Verb
from telltick.model.tap import LineChange, TapPlan
from telltick.model.traffic import Burst, Poll
from telltick.model.trial import TrialSlot
from telltick.sources.audio import AudioBlock
from telltick.sources.listener import Listener
from telltick.sources.poller import Poller
from telltick.store.journal import Journal
from telltick.store.lock import hold
from telltick.store.reserve import says_full
from telltick.store.segments import AudioWriter
from telltick.store.session import SessionReader

TICK_S = 0.02


@dataclass
class StopSignal:
    """Set by a signal handler; says how the session should end."""

    how: str = ""

    def set(self, how: str) -> None:
        """Ask for the end; the first reason stays."""
        self.how = self.how or how


@dataclass
class Recorder:
    """Records one session.

    Attributes:
        folder: an empty session folder.
        facts: what the session is opened with.
        inputs: audio source, poll plan and port.
        seconds: end after this much session time; None goes on until asked.
        stop: set from outside to end the session.
        on_ready: told once everything runs.
        folder_made: the folder was made for this recording; a start that fails takes it away again.
    """

    folder: Path
    facts: SessionFacts
    inputs: Inputs
    seconds: float | None = None
    stop: StopSignal = field(default_factory=StopSignal)
    on_ready: Callable[[], None] = lambda: None
    folder_made: bool = False

    def run(self) -> Ending:
        """Record until the end; returns how it ended.

        Raises:
            SessionBusyError: another recorder owns the folder.
            DeviceError: the audio input could not be started.
            StorageError: the disk refused a write; what was written before stays readable.
        """
        with hold(self.folder), Journal.create(self.folder, self.facts) as journal:
            writer = AudioWriter(self.folder, self.facts.rate_hz)
            session = _Session(self, journal, writer)
            try:
                ending = session.run()
            finally:
                session.close()
            ending = session.last_words(ending)
            journal.end(ending)
            return ending


_Event = AudioBlock | Burst | Poll | TrialSlot | Trouble | LineChange | RateAnswer
_TOLD_ON_A_FULL_DISK = Trouble | LineChange | RateAnswer


class Line(Protocol):
    """What watches the serial line: `Poller`, `Bridge` or `Listener`."""

    def start(self) -> None:
        """Begin."""

    def stop(self) -> None:
        """Let go of the port; what was under way is still told."""


class _Session:
    """State of one recording in progress."""

    def __init__(self, recorder: Recorder, journal: Journal, writer: AudioWriter) -> None:
        self._plan = recorder
        self._inputs = recorder.inputs
        self._journal = journal  # for what others write
        self._ledger = Ledger(journal, self.now_ns)  # for what we write
        self._events: queue.SimpleQueue[_Event] = queue.SimpleQueue()
        self._zero_ns = self._inputs.zero_ns
        self._capture = AudioCapture(
            self._inputs.audio,
            writer,
            self._ledger,
            self._events.put,
            now_ns=self.now_ns,
            zero_ns=self._zero_ns,
            wall_ns=self._inputs.clocks.wall_ns,
            line=self._make_line_channel(),
        )
        self._clocks = ClockWatch(self._inputs.clocks)
        rate_hz = self._inputs.audio.rate_hz
        self._disk = DiskWatch(recorder.folder, self._ledger, self._capture, rate_hz, self.now_ns)
        self._line = self._make_line()
        self._errands = Errands(self._line, self._inputs, self._disk, self.now_ns, self._mark_change)
        self._complaints = Complaints()
        self._reader = SessionReader(recorder.folder)
        self._applied = dict(recorder.facts.setup)
        self._unread = False  # others have written, and it has not been looked at
        self._answered: set[int] = set()  # requests

    def now_ns(self) -> int:
        """Session time."""
        return self._inputs.clocks.mono_ns() - self._zero_ns

    def run(self) -> Ending:
        self._capture.start()
        if self._line is not None:
            self._line.start()
        self._plan.on_ready()
        while True:
            how = ""
            with self._going_on():
                how = self._turn()
            with self._going_on():
                self._ledger.settle()
            if how:
                return Ending(self.now_ns(), how)

    def _turn(self) -> str:
        """Store what came and do what was asked; returns how the session ends, if it does."""
        self._take_events()
        self._capture.watch()
        self._disk.watch()
        for note in self._complaints.due(self.now_ns()):
            self._ledger.add_health(note)
        if self._look_at_journal():
            return "requested"
        if self._plan.stop.how:
            return self._plan.stop.how
        if self._capture.over and self._events.empty():
            return "source ended"
        if self._plan.seconds is not None and self.now_ns() >= self._plan.seconds * NS:
            return "time is up"
        return ""

    @contextlib.contextmanager
    def _going_on(self) -> Iterator[None]:
        """Let a full disk stop the recording in good order instead of ending the session.

        What others wrote while the journal is locked is looked at later.
        """
        try:
            yield
        except JournalLockedError:
            return
        except StorageError as why:
            if not says_full(why, self._plan.folder):
                raise
            self._disk.stop()

    def close(self) -> None:
        """Stop the inputs, keep what they had already said, close the files."""
        if self._line is not None:
            self._line.stop()
        self._capture.stop_source()
        try:
            with self._going_on():
                self._store(self._drain())
                self._capture.end_run()
                self._store(self._drain())
                self._store_last_words()
            self._disk.close()
        finally:
            with self._going_on():
                self._capture.close()
            self._reader.close()
            self._inputs.close()
            self._settle_at_last()

    def _settle_at_last(self) -> None:
        try:
            self._ledger.settle_at_last()
        except StorageError as why:
            if not says_full(why, self._plan.folder):
                raise

    def last_words(self, ending: Ending) -> Ending:
        """The ending, and how much the journal did not take before it."""
        missing = self._ledger.waiting
        words = f"the disk was full to the end: {missing} entries of the journal are missing"
        return replace(ending, note=words) if missing else ending

    def _make_line_channel(self) -> LineChannel | None:
        """What hears the data line in the audio."""
        plan = self._inputs.line_channel
        return None if plan is None else LineChannel(plan, self._inputs.audio.rate_hz, self._events.put)

    def _make_line(self) -> Line | None:
        """Whatever watches the serial line."""
        tap = self._inputs.tap
        if self._inputs.poll is None:
            return None if tap is None else self._make_tap(tap)
        return Poller(
            self._inputs.poll,
            open_port=self._inputs.open_port,
            clock_ns=self.now_ns,
            seed=self._plan.facts.seed,
            on_burst=self._events.put,
            on_poll=self._events.put,
            on_trouble=self._note_trouble,
            on_draw=self._events.put,
            on_rate=self._note_rate,
            on_change=self._events.put,
        )

    def _make_tap(self, tap: TapPlan) -> Line:
        program = self._inputs.program
        if program is None:
            return Listener(
                tap,
                open_port=self._inputs.open_tap,
                clock_ns=self.now_ns,
                on_burst=self._events.put,
                on_trouble=self._note_trouble,
            )
        from telltick.sources.bridge import Bridge  # pseudo-terminals are not everywhere

        return Bridge(
            tap,
            program,
            open_port=self._inputs.open_tap,
            clock_ns=self.now_ns,
            on_burst=self._events.put,
            on_trouble=self._note_trouble,
            on_change=self._events.put,
        )

    def _watch_clocks(self) -> None:
        """Say what the computer's clocks did; only a sleep touches the timeline."""
        news = self._clocks.watch()
        if news is None:
            return
        now_ns = self.now_ns()
        if news.slept_s:
            words = f"the computer slept for {news.slept_s:.0f} s"
            self._capture.break_off(words)
            self._ledger.add_health(HealthNote(now_ns, "sleep", news.slept_s, words))
        if news.set_s:
            words = f"the computer's clock was set by {news.set_s:+.1f} s: session time goes on as it was"
            self._ledger.add_health(HealthNote(now_ns, "clock set", news.set_s, words))

    def _note_trouble(self, kind: str, note: str) -> None:
        self._events.put(Trouble(kind, note, self.now_ns()))

    def _note_rate(self, baud: int, refused: str, ask: int) -> None:
        self._events.put(RateAnswer(self.now_ns(), baud, refused, ask))

    # ---- facts from the inputs

    def _take_events(self) -> None:
        try:
            first = [self._events.get(timeout=TICK_S)]
        except queue.Empty:
            first = []
        self._watch_clocks()  # now: what came after a sleep must not be joined to what came before it
        self._store([*first, *self._drain()])

    def _drain(self) -> list[_Event]:
        events = []
        while not self._events.empty():
            events.append(self._events.get_nowait())
        return events

    def _store(self, events: list[_Event]) -> None:
        if self._disk.full:
            self._disk.let_go(sum(isinstance(event, Burst) for event in events))
            events = [event for event in events if isinstance(event, _TOLD_ON_A_FULL_DISK)]
        self._ledger.add_bursts([event for event in events if isinstance(event, Burst)])
        for event in events:  # facts first: the audio may find the disk full
            self._store_fact(event)
        for event in events:
            if isinstance(event, AudioBlock):
                self._capture.take(event)

    def _store_fact(self, fact: _Event) -> None:
        match fact:
            case Poll():
                self._ledger.add_poll(fact)
            case TrialSlot():
                self._ledger.add_trial_slot(fact)
            case LineChange():
                self._mark_change(fact.t_ns, Change(fact.factor, fact.value, fact.note))
            case RateAnswer():
                for outcome in self._errands.rate_answered(fact):
                    self._answer(outcome)
            case Trouble():
                note = self._complaints.take(fact)
                if note is not None:
                    self._ledger.add_health(note)

    def _store_last_words(self) -> None:
        """What was gathered or under way, now that nothing more will come."""
        for note in self._complaints.rest(self.now_ns()):
            self._ledger.add_health(note)
        for outcome in self._errands.abandoned():
            self._answer(outcome)

    # ---- requests from viewers

    def _look_at_journal(self) -> bool:
        """Do what others have written there; returns whether the session is to end."""
        self._unread |= self._journal.changed()
        if not self._unread:
            return False
        finish = self._carry_out_requests()
        self._follow_setup()
        self._unread = False
        return finish

    def _carry_out_requests(self) -> bool:
        finish = False
        for request in self._journal.pending_requests():
            if request.number in self._answered or self._errands.under_way(request):
                continue
            finish |= request.verb is Verb.FINISH
            outcome = self._errands.carry_out(request)
            if outcome is not None:
                self._answer(outcome)
        return finish

    def _answer(self, outcome: Outcome) -> None:
        self._answered.add(outcome.request)
        self._ledger.add_outcome(outcome)

    def _mark_change(self, t_ns: int, change: Change) -> None:
        """Mark what the program, ours or the station's, changed."""
        self._ledger.add_change(t_ns, change.factor, change.value, change.note)

    def _follow_setup(self) -> None:
        """Let a simulated bench do what the operator's marks say was done to it."""
        if self._inputs.bench is None:
            return
        self._reader.refresh()
        setup = setup_at(self.now_ns(), self._plan.facts.setup, self._reader.marks)
        for factor, value in setup.items():
            if self._applied.get(factor) != value:
                self._inputs.bench.apply(factor, value)
        self._applied = setup


def record(recorder: Recorder) -> Ending:
    """Run a recorder; one that fails says so in the journal, where room is left for words.

    Raises:
        DeviceError: the audio input could not be started; nothing is left of the session.
        SessionBusyError, StorageError: as `Recorder.run`.
    """
    try:
        return recorder.run()
    except DeviceError:
        clear(recorder.folder, remove=recorder.folder_made)
        raise
    except BadInputError:  # the folder is somebody else's
        raise
    except Exception as why:
        now_ns = recorder.inputs.clocks.mono_ns() - recorder.inputs.zero_ns
        ending = Ending(now_ns, "failed", str(why) or repr(why))
        with contextlib.suppress(TelltickError), Journal.open(recorder.folder) as journal:
            journal.end(ending)
        raise
