"""The walk through a round: proposes the next task, sees by the session itself when it is done, and measures.

A walk keeps nothing that the session does not hold: what was done stands in the journal as marks, what was
measured is measured again from the audio. It only remembers which task comes next.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from telltick.measure.vocabulary import alike
from telltick.model.cautions import BY_FACTOR
from telltick.model.marks import Mark, MarkKind
from telltick.model.plan import REQUEST
from telltick.model.readings import Reading, Verdict
from telltick.model.rounds import Round, Task, TaskResult, Walk, WalkPhase
from telltick.model.session import Verb
from telltick.model.snapshot import Snapshot
from telltick.model.trial import odds_to_one
from telltick.store.rounds import load_rounds

PATIENCE_S = 15.0  # for the recorder to do as it was asked
Ask = Callable[[Verb, str], None]


@dataclass(frozen=True)
class _Progress:
    """How far measuring is."""

    words: str
    share: float
    left_s: float | None
    over: bool


def rounds_on_offer() -> tuple[dict[str, Round], tuple[str, ...]]:
    """Every round that can be walked, by name, and a sentence about each file that cannot be used."""
    return load_rounds()


class Walker:
    """Leads through one round."""

    def __init__(self, round_: Round, ask: Ask, found: Mapping[str, str] | None = None) -> None:
        """Take up a round.

        Args:
            round_: what to do.
            ask: puts a request to the recorder.
            found: how the bench stood when the session began; what the round swaps goes back to that first.
        """
        self._round = round_
        self._ask = ask
        self._found = dict(found or {})
        self._baseline: Mapping[str, str] | None = None
        self._at = -1
        self._results: list[TaskResult] = []
        self._begun_ns = 0
        self._measuring_ns: int | None = None

    def look(self, snapshot: Snapshot) -> Walk:
        """Where the walk stands after this picture of the session."""
        if self._baseline is None:
            self._take_baseline(snapshot)
            self._begin(snapshot)
        if self._at >= len(self._round.tasks):
            return self._state(WalkPhase.DONE, "the round is done")
        if self._measuring_ns is None:
            waiting = self._until_ready(snapshot)
            if waiting is not None:
                return waiting
            self._measuring_ns = snapshot.now_ns
        return self._measure(snapshot)

    def skip(self, snapshot: Snapshot, why: str = "left out by hand") -> None:
        """Leave the present task out."""
        task = self._task()
        if task is not None:
            if task.do == "trial" and snapshot.trial is not None and snapshot.trial.running:
                self._ask(Verb.STOP_TRIAL, "")
            self._finish(snapshot, why, skipped=True)

    def back(self, snapshot: Snapshot) -> None:
        """Take the last task before this one that can be done up again."""
        before = (at for at in reversed(range(self._at)) if not self._is_needless(at, snapshot))
        at = next(before, None)
        if at is not None:
            del self._results[at:]
            self._at = at - 1
            self._begin(snapshot)

    # ---- from task to task

    def _take_baseline(self, snapshot: Snapshot) -> None:
        """Note what swaps go back to; what the round swaps later, and stands so already, goes back first."""
        baseline, first = dict(snapshot.setup), []
        for task in self._round.tasks:
            now = baseline.get(task.factor, "")
            if task.do == "change" and alike(task.factor, now, task.value):
                baseline[task.factor] = _stood_before(task, self._found, snapshot)
                say = f"{now.capitalize()} is set already: go back first, for a baseline."
                first.append(Task(do="return", say=say, factor=task.factor))
        self._baseline = baseline
        self._round = replace(self._round, tasks=(*first, *self._round.tasks))

    def _is_needless(self, at: int, snapshot: Snapshot) -> bool:
        task = self._round.tasks[at]
        return bool(_needless(task, self._value(task), snapshot))

    def _otherwise(self, snapshot: Snapshot) -> str:
        """In what the bench stands otherwise than when the session began."""
        here = snapshot.setup
        differs = [
            f"{name} {here[name]}"
            for name, value in self._found.items()
            if name in here and not alike(name, here[name], value)
        ]
        return f" (with {', '.join(differs)})" if differs else ""

    def _task(self) -> Task | None:
        return self._round.tasks[self._at] if 0 <= self._at < len(self._round.tasks) else None

    def _begin(self, snapshot: Snapshot) -> None:
        """Go on to the next task, and set off what the recorder does by itself."""
        self._at += 1
        self._begun_ns, self._measuring_ns = snapshot.now_ns, None
        task = self._task()
        if task is None:
            return
        needless = _needless(task, self._value(task), snapshot)
        if needless:
            self._finish(snapshot, needless, skipped=True)
        elif task.do == "polling" and snapshot.polling.available:
            if snapshot.polling.on != (task.value == "on"):
                self._ask(Verb.START_POLLING if task.value == "on" else Verb.STOP_POLLING, "")
        elif task.do == "trial" and not (snapshot.trial is not None and snapshot.trial.running):
            self._ask(Verb.START_TRIAL, "")

    def _finish(self, snapshot: Snapshot, words: str, *, skipped: bool = False) -> None:
        task = self._task()
        assert task is not None
        if task.do == "measure" and not skipped:
            words += self._otherwise(snapshot)
        self._results.append(TaskResult(task, skipped, words))
        self._begin(snapshot)

    def _value(self, task: Task) -> str:
        """The value that a task proposes."""
        if task.do == "return":
            return (self._baseline or {}).get(task.factor, "")
        return task.value

    # ---- before measuring

    def _until_ready(self, snapshot: Snapshot) -> Walk | None:
        """What is waited for; None when measuring can begin."""
        task = self._task()
        assert task is not None
        if task.do in ("change", "return"):
            return self._until_changed(task, snapshot)
        if task.do == "polling" and snapshot.polling.on != (task.value == "on"):
            if not snapshot.polling.available:
                return self._state(WalkPhase.YOURS, f"turn your own program's polling {task.value}")
            return self._waiting(snapshot, f"asked the recorder to turn polling {task.value}")
        if task.do == "trial" and not (snapshot.trial is not None and snapshot.trial.running):
            return self._waiting(snapshot, "asked the recorder for a coin trial")
        return None

    def _until_changed(self, task: Task, snapshot: Snapshot) -> Walk | None:
        open_mark = snapshot.open_mark
        if open_mark is not None and open_mark.factor == task.factor:
            return self._state(WalkPhase.HANDS_ON, "confirm the new value when your hands are off")
        settled_ns = _settled_since(self._begun_ns, task.factor, snapshot.marks)
        if settled_ns is not None:
            if snapshot.step_start_ns is not None and snapshot.step_start_ns >= settled_ns:
                return None
            return self._state(WalkPhase.WAITING, "the change is in the journal, its sound not yet here")
        if alike(task.factor, snapshot.setup.get(task.factor, ""), self._value(task)):
            return None  # it stands so already: measured as it is
        return self._state(WalkPhase.YOURS, task.say)

    def _waiting(self, snapshot: Snapshot, words: str) -> Walk:
        waited_s = (snapshot.now_ns - self._begun_ns) / 1e9
        if waited_s > PATIENCE_S:
            words = f"{words} {waited_s:.0f} s ago, and it has not answered: see the notices, or skip"
        return self._state(WalkPhase.WAITING, words)

    # ---- measuring

    def _measure(self, snapshot: Snapshot) -> Walk:
        task = self._task()
        assert task is not None
        assert self._measuring_ns is not None
        if task.do == "trial":
            found = _trial_progress(task, snapshot, (snapshot.now_ns - self._measuring_ns) / 1e9)
        else:
            found = _progress(task, snapshot)
        if not found.over:
            return self._state(WalkPhase.MEASURING, found.words, found.share, found.left_s)
        if task.do == "trial" and snapshot.trial is not None and snapshot.trial.running:
            self._ask(Verb.STOP_TRIAL, "")
        self._finish(snapshot, found.words)
        return self.look(snapshot)

    def _state(
        self, phase: WalkPhase, progress: str, share: float = 0.0, left_s: float | None = None
    ) -> Walk:
        task = self._task()
        caution = ""
        if task is not None and phase in (WalkPhase.YOURS, WalkPhase.HANDS_ON):
            caution = " ".join(filter(None, (task.caution, BY_FACTOR.get(task.factor, ""))))
        return Walk(
            title=self._round.title,
            number=self._at + 1,
            count=len(self._round.tasks),
            phase=phase,
            task=task,
            value=self._value(task) if task is not None else "",
            progress=progress,
            share=share,
            seconds_left=left_s,
            caution=caution,
            results=tuple(self._results),
        )


def _needless(task: Task, value: str, snapshot: Snapshot) -> str:
    """Why a task need not or cannot be done; empty when it should be."""
    if task.do == "return" and alike(task.factor, snapshot.setup.get(task.factor, ""), value):
        return f"stands at {value} already"
    if task.factor == REQUEST and snapshot.polling.available and REQUEST not in snapshot.setup:
        return "the station file has no request that the radio lets pass"
    if task.do == "trial" and not snapshot.polling.available:
        return "a coin trial needs our own poller"
    if task.do == "trial" and _log10_e(snapshot) >= math.log10(task.odds):
        return "shown by an earlier one"
    return ""


def _progress(task: Task, snapshot: Snapshot) -> _Progress:
    """Measuring until the excess is known well enough."""
    seconds, reading = snapshot.step_seconds, snapshot.step
    if not snapshot.polling.on and snapshot.polling.available:
        over = seconds >= task.shortest_s
        words = f"the floor without polling: {_level(reading)}"
        return _Progress(words, seconds / task.shortest_s, max(task.shortest_s - seconds, 0.0), over)
    half_db = _half_width(reading)
    if half_db is None:
        left_s = task.longest_s - seconds
        words = reading.warnings[0] if reading.warnings else "waiting for polls"
        return _Progress(words, seconds / task.longest_s, None, left_s <= 0)
    words = f"{_said(reading)} after {seconds:.0f} s"
    needed_s = max(seconds * (half_db / task.within_db) ** 2, task.shortest_s)
    sharp = half_db <= task.within_db and seconds >= task.shortest_s
    if sharp:
        over = seconds >= task.longest_s or not _tie_is_open(reading)
        return _Progress(words, 1.0 if over else seconds / task.longest_s, 0.0 if over else None, over)
    if seconds >= task.longest_s:
        words += f"; within {task.within_db:g} dB would take {_time(needed_s)}, so it is left at that"
        return _Progress(words, 1.0, 0.0, over=True)
    if needed_s > task.longest_s:
        left_s = task.longest_s - seconds
        words += f"; it will not get within {task.within_db:g} dB in {task.longest_s:.0f} s"
        return _Progress(words, seconds / task.longest_s, left_s, over=False)
    return _Progress(words, min(seconds / needed_s, 1.0), needed_s - seconds, over=False)


def _trial_progress(task: Task, snapshot: Snapshot, seconds: float) -> _Progress:
    """A trial until the odds are as high as asked for, or its time is up."""
    log10_e, wanted = _log10_e(snapshot), math.log10(task.odds)
    cycles = snapshot.trial.cycles if snapshot.trial is not None else 0
    words = f"odds against chance {odds_to_one(log10_e)} after {cycles} cycles"
    if log10_e >= wanted:
        return _Progress(words, 1.0, 0.0, over=True)
    if seconds >= task.longest_s:
        return _Progress(f"{words}: no tie shown in {seconds:.0f} s", 1.0, 0.0, over=True)
    left_s = seconds * (wanted / log10_e - 1) if log10_e > 0.3 else task.longest_s - seconds
    return _Progress(words, max(log10_e / wanted, 0.0), min(left_s, task.longest_s - seconds), over=False)


def _settled_since(since_ns: int, factor: str, marks: Sequence[Mark]) -> int | None:
    """When the last change of a factor that was begun since then was confirmed; None without one."""
    changes = (mark for mark in marks if mark.kind is MarkKind.CHANGE and mark.factor == factor)
    settled = (mark.settled_ns for mark in changes if mark.t_ns >= since_ns)
    return max((t_ns for t_ns in settled if t_ns is not None), default=None)


def _stood_before(task: Task, found: Mapping[str, str], snapshot: Snapshot) -> str:
    """The last value of a factor other than the one that a task sets; empty when none is known."""
    changes = (mark.value for mark in snapshot.marks if mark.factor == task.factor)
    values = [value for value in (found.get(task.factor), *changes) if value]
    return next((value for value in reversed(values) if not alike(task.factor, value, task.value)), "")


def _half_width(reading: Reading) -> float | None:
    excess = reading.excess_db
    return None if excess is None else (excess.high - excess.low) / 2


def _said(reading: Reading) -> str:
    excess = reading.excess_db
    assert excess is not None
    half = (excess.high - excess.low) / 2
    if _tie_is_open(reading):
        return f"excess {excess.value:+.1f} +-{half:.1f} dB, the tie not shown yet"
    if reading.verdict is Verdict.NO_TIE:
        return f"no tie found, excess {excess.value:+.1f} +-{half:.1f} dB"
    return f"excess {excess.value:+.1f} +-{half:.1f} dB"


def _tie_is_open(reading: Reading) -> bool:
    """Is there surely an excess, with too few polls so far to say that it follows them?"""
    return reading.verdict is Verdict.NO_TIE and reading.excess_db is not None and reading.excess_db.low > 0


def _level(reading: Reading) -> str:
    return "not yet known" if reading.noise_dbfs is None else f"N {reading.noise_dbfs:.1f} dBFS"


def _log10_e(snapshot: Snapshot) -> float:
    return snapshot.trial.highest_log10_e if snapshot.trial is not None else 0.0


def _time(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 100 else f"{seconds / 60:.0f} min"
