"""What keys do to the session, apart from any screen: changes, notes, requests, transport.

Methods return a sentence for the operator. They let the session's own errors through.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import cast

from telltick.engine.feed import ReplayFeed, SessionFeed
from telltick.model.clock import NS
from telltick.model.errors import BadInputError
from telltick.model.session import Verb
from telltick.model.snapshot import Phase, Snapshot
from telltick.model.trial import FACTOR as TRIAL
from telltick.model.trial import odds_to_one
from telltick.ui.entries import mark_text
from telltick.ui.factors import FACTORS, checked_request, suggestions
from telltick.ui.glyphs import Glyphs

SLOWEST, FASTEST = 0.5, 64.0
GOALS = (20.0, 100.0, 1000.0, 10_000.0, 1_000_000.0, math.inf)  # odds at which a coin trial ends by itself
USUAL_GOAL = 1000.0


@dataclass(frozen=True)
class Question:
    """What the prompt asks the operator.

    Attributes:
        title: what it is about: a factor's name, or ``note``.
        was: the present value; empty when there is none.
        offers: values worth offering.
        caution: what to mind; empty when nothing.
        unit: what a number counts; empty where words are meant.
        mark: number of the change whose hands-on time runs; None when none does.
        verb: the request the answer goes into; None when it goes into a mark.
        late: it is about a saved session.
        proposed: the value that a round asks for, typed in already; empty without one.
    """

    title: str
    was: str = ""
    offers: tuple[str, ...] = ()
    caution: str = ""
    unit: str = ""
    mark: int | None = None
    verb: Verb | None = None
    late: bool = False
    proposed: str = ""


class Desk:
    """The operator's hands on one session."""

    def __init__(self, feed: SessionFeed, glyphs: Glyphs) -> None:
        self._feed = feed
        self._glyphs = glyphs
        self._snapshot = Snapshot(Phase.STARTING)
        self._speed: float | None = None  # set here, so known before the next picture shows it
        self._aim_ns: int | None = None  # where the playhead was last sent, until a picture shows it
        self.trial_goal = USUAL_GOAL
        self._trial_ended = False  # this coin trial was asked to end

    @property
    def snapshot(self) -> Snapshot:
        """The newest picture of the session."""
        return self._snapshot

    @snapshot.setter
    def snapshot(self, snapshot: Snapshot) -> None:
        self._snapshot, self._aim_ns = snapshot, None

    # ---- changes and notes

    def begin_change(self, name: str) -> Question:
        """Start a change: hands-on time runs at once, unless our own poller can make the change itself."""
        factor = FACTORS[name]
        polling = self.snapshot.polling
        setup = {**self._feed.facts.setup, **self.snapshot.setup}
        by_poller = factor.verb is not None and polling.available and not self._feed.is_replay
        was = setup.get(name, "")
        if by_poller:
            numbers = {Verb.SET_BAUD: polling.baud, Verb.SET_INTERVAL: polling.interval_s}
            now = numbers.get(factor.verb) if factor.verb else None
            was = f"{now:g}" if now is not None else was
        return Question(
            title=name,
            was=was,
            offers=suggestions(factor, self.snapshot.marks, self._feed.facts.setup, was),
            caution="" if self._feed.is_replay else factor.caution,
            late=self._feed.is_replay,
            unit=factor.unit,
            mark=None if by_poller else self._feed.open_change(name),
            verb=factor.verb if by_poller else None,
        )

    def answer(self, question: Question, text: str) -> str:
        """Carry out what was asked.

        Raises:
            BadInputError: the answer cannot be used; the question still stands.
        """
        text = text.strip()
        if question.verb is not None:
            value = checked_request(question.verb, text)
            self._feed.ask(question.verb, value)
            return f"asked the poller to {question.verb}: {value}"
        if question.mark is None:
            self._feed.add_note(text)
            return "note written"
        self._feed.settle_change(question.mark, text)
        return f"{question.title}: {self._glyphs.clean(text, 60)}"

    def leave(self, question: Question) -> str:
        """Drop a question; a change that was begun stays in the journal as a plain mark."""
        if question.mark is None:
            return ""
        self._feed.leave_plain(question.mark)
        return f"{question.title} not changed; a plain mark stays where you began"

    @property
    def folder(self) -> str:
        """The session's folder."""
        return self._feed.folder

    def begin_round(self, title: str) -> None:
        """Say in the journal that a guided round begins."""
        self._feed.add_note(f"guided round: {title}")

    def mark(self) -> str:
        """Mark this moment."""
        self._feed.plain_mark()
        return "marked"

    def undo(self) -> str:
        """Withdraw the newest mark made here."""
        mark = self._feed.undo()
        if mark is None:
            return "nothing of yours to withdraw"
        return f"withdrawn: {mark_text(mark, self._glyphs)}"

    def redo(self) -> str:
        """Make the mark stand again that was withdrawn last."""
        mark = self._feed.redo()
        if mark is None:
            return "nothing withdrawn to bring back"
        return f"stands again: {mark_text(mark, self._glyphs)}"

    def toggle_lock(self) -> str:
        """Hold the latency where it is, or have it looked for again.

        Raises:
            BadInputError: no latency is known yet.
        """
        latency = self.snapshot.latency
        if latency is None:
            raise BadInputError("there is no latency to lock yet: let some polls pass")
        self._feed.lock_latency(locked=not latency.locked)
        if latency.locked:
            return "the latency is looked for again"
        return f"latency locked at {1000 * latency.seconds.value:.1f} ms on this screen; the same key unlocks"

    # ---- recorder

    def toggle_polling(self) -> str:
        """Ask for polling to start or stop."""
        polling = self.snapshot.polling
        if not polling.available:
            raise BadInputError("this session has no poller of its own; start and stop your own program")
        verb = Verb.STOP_POLLING if polling.on else Verb.START_POLLING
        self._feed.ask(verb)
        return f"asked the recorder to {verb}"

    def resume(self) -> str:
        """Ask for the recording to go on after the disk was full."""
        if self._feed.is_replay:
            raise BadInputError("a saved session is not recorded")
        self._feed.ask(Verb.RESUME)
        return "asked the recorder to go on recording"

    # ---- coin trial

    @property
    def trial_runs(self) -> bool:
        """A coin trial runs, as far as the newest picture says."""
        trial = self.snapshot.trial
        return trial.running if trial is not None else self.snapshot.setup.get(TRIAL) == "on"

    def start_trial(self) -> str:
        """Ask for a coin trial to begin.

        Raises:
            BadInputError: the polls are not ours to move, or there are none.
        """
        if self._feed.is_replay:
            raise BadInputError("a saved session is not polled any more: a coin trial needs a live one")
        if not self.snapshot.polling.available:
            raise BadInputError("a coin trial needs a poller of our own: it moves the polls about")
        if not self.snapshot.polling.on:
            raise BadInputError("polling is off: start it, let some polls pass, then draw lots")
        self._feed.ask(Verb.START_TRIAL)
        self._trial_ended = False
        return "asked the recorder to draw lots for the time of each poll"

    def stop_trial(self) -> str:
        """Ask for the coin trial to end."""
        self._feed.ask(Verb.STOP_TRIAL)
        return "asked the recorder to end the coin trial"

    def end_trial_at_goal(self) -> str:
        """Ask for the coin trial to end when its odds have reached the goal; returns a sentence if so.

        The odds hold whenever one stops, so nothing is lost when no screen is there to ask: the trial then
        goes on and its evidence with it.
        """
        trial = self.snapshot.trial
        if trial is None or not trial.running or self._feed.is_replay:
            self._trial_ended = False
            return ""
        if self._trial_ended or trial.log10_e < math.log10(self.trial_goal):
            return ""
        self._trial_ended = True
        self._feed.ask(Verb.STOP_TRIAL)
        return f"the coin trial reached {odds_to_one(math.log10(self.trial_goal))} and ends"

    def ask(self, verb: Verb, value: str = "") -> None:
        """Put a request of a guided round to the recorder; a trial that ends already is not ended twice."""
        if verb is Verb.STOP_TRIAL:
            if self._trial_ended:
                return
            self._trial_ended = True
        self._feed.ask(verb, value)

    def move_goal(self, by: int) -> str:
        """Set the odds at which a coin trial ends by itself to the next higher or lower ones."""
        self.trial_goal = GOALS[min(max(GOALS.index(self.trial_goal) + by, 0), len(GOALS) - 1)]
        if math.isinf(self.trial_goal):
            return "the coin trial goes on until you end it"
        return f"the coin trial ends by itself at {odds_to_one(math.log10(self.trial_goal))}"

    def finish(self) -> None:
        """Ask the recorder to end the session."""
        self._feed.ask(Verb.FINISH)

    @property
    def records(self) -> bool:
        """A recorder is (or may be) at work."""
        return not self._feed.is_replay and self.snapshot.phase in (Phase.STARTING, Phase.RECORDING)

    # ---- replay

    def play(self) -> None:
        """Play or pause."""
        self._replay.toggle()

    def change_speed(self, direction: int) -> None:
        """Double (+1) or halve (-1) the replay speed."""
        speed = (self._speed or self.snapshot.speed) * 2.0**direction
        self._speed = min(max(speed, SLOWEST), FASTEST)
        self._replay.set_speed(self._speed)

    def seek_by(self, seconds: float) -> None:
        """Move the playhead."""
        here_ns = self.snapshot.now_ns if self._aim_ns is None else self._aim_ns
        self.seek_to(here_ns + int(seconds * NS))

    def seek_to(self, t_ns: int) -> None:
        """Move the playhead to a session time, kept within the session."""
        self._aim_ns = max(0, min(t_ns, self.snapshot.duration_ns))
        self._replay.seek(self._aim_ns)

    def seek_mark(self, direction: int) -> None:
        """Move the playhead to the next (+1) or previous (-1) mark."""
        self._replay.seek_mark(direction)

    @property
    def _replay(self) -> ReplayFeed:
        return cast("ReplayFeed", self._feed)
