"""What live view and replay share: a session followed to a moment and turned into a picture."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from telltick.engine.analyst import Analyst
from telltick.engine.condition import HealthWatch, PollTally, TroubleTally, polling_state
from telltick.engine.hindrance import LOCKED, LineTally
from telltick.engine.marking import Marker
from telltick.engine.measuring_beside import MeasuringBeside
from telltick.engine.parts import Progress
from telltick.engine.rate_ear import RateEar
from telltick.engine.strip import StripMaker
from telltick.engine.trial import TrialFollower
from telltick.measure.banded import sums_of
from telltick.measure.reading import spectrum_of, take_reading
from telltick.measure.rows import PollRows
from telltick.measure.tones import tonal_bins
from telltick.measure.verdict import as_control, judged_by, trial_between, verdict_with_trial
from telltick.model.clock import NS
from telltick.model.errors import BadInputError
from telltick.model.marks import Mark, Step, setup_at, steps_of
from telltick.model.measurement import Measurement
from telltick.model.readings import Band, Estimate, Reading, Spectrum, TrialReading, Verdict
from telltick.model.session import Verb
from telltick.model.snapshot import Phase, Snapshot, View
from telltick.model.text import plain_text
from telltick.store.session import SessionReader

NOTHING = Reading(0, 0.0, warnings=("Not enough polls for a reading yet.",))
UNTOLD = Reading(
    0, 0.0, warnings=("The journal is locked by another program: no polls are known for the last seconds.",)
)
THOROUGH_S = 0.95  # of new sound before more than strip and input are looked at: figures change each second
ROWS_EVERY_S = 0.15  # of new sound before the journal is asked again, but for what was written here
REREAD_S = 0.9  # audio that must be new before the meter is read again
TIE_SERVES_S = 3.0  # evidence of a tie that has sufficed is asked for again after so long
STEP_REREAD_S = 4.0  # audio that must be new before a step longer than the meter's window is read again
STEP_GROWTH = 0.05  # and the share by which it must have grown
TONES_EVERY_S = 6.0  # steady tones are looked for again so often
TONES_LAST_FROM_S = 10.0  # where the rows are fewer, each look finds them better
LEAD_S = 2.0  # rows end about so long before the moment
KEEP_S = 600.0  # of a step longer than this only the end is kept and read
BEHIND_S = 5.0  # rows end so far before the moment
SLACK_S = 60.0  # older rows go a minute at a time, so that the rest is seldom copied
CUT_STEP = (
    "Audio was lost in this step: the reading is of what came after. Measuring the session reads all of it."
)
LONG_STEP = "This step is long: this reads its last ten minutes. Measuring the session reads all of it."


class SessionView:
    """A session on screen; `engine.live` and `engine.replay` say what the present moment is."""

    is_replay = False

    def __init__(self, folder: Path, progress: Callable[[float], object] | None = None) -> None:
        """Open a session.

        Args:
            folder: the session's.
            progress: told the share read, 0 to 1: a long one takes seconds.

        Raises:
            BadSessionError: the folder is not a session that can be read.
        """
        self._reader = SessionReader(folder, progress)
        self.facts = self._reader.facts
        self.folder = str(folder)
        self._analyst = Analyst(self._reader)
        self._strip = StripMaker(self._reader)
        self._health = HealthWatch(self._reader.audio)
        self._rate_ear = RateEar(self._reader)
        self._trial = TrialFollower(self._reader)
        self._marker = Marker(folder, self.moment_ns, late=self._is_late)
        self._measuring = MeasuringBeside(folder)
        self._backfilled = True
        self._strokes = 0  # marks and requests made here, at the last look
        self._held_up = False  # by a lock on the journal, at the last look
        self._lock_wish: bool | None = None
        self._tally = PollTally()
        self._troubles = TroubleTally()
        self._line = LineTally()
        self._window_reading: tuple[object, float, tuple[Reading, Spectrum | None]] = (
            None,
            0.0,
            (NOTHING, None),
        )
        self._tie: tuple[object, float, float | None] = (None, 0.0, None)
        self._tones: tuple[object, float, npt.NDArray[np.bool_] | None] = (None, 0.0, None)
        self._thorough: tuple[tuple[Any, ...], Snapshot | None] = ((), None)  # sample and key, picture
        self._step_reading: tuple[float, float, Reading] = (-1.0, 0.0, NOTHING)  # begin, until, reading

    # ---- the moment (for subclasses)

    def moment_ns(self) -> int:
        """Session time of a mark made now."""
        raise NotImplementedError

    def _is_late(self) -> bool:
        """Whether a mark made now comes after the recording."""
        return self.is_replay

    def _picture_moment(self) -> tuple[int, int, Phase]:
        """(sample shown up to, session time shown, phase)."""
        raise NotImplementedError

    def _known_until(self, sample: int) -> int:
        """Sample up to which every burst that could be heard is known."""
        raise NotImplementedError

    def _untold_s(self) -> float:
        """Seconds of sound up to the moment of which a journal that is held up does not tell yet."""
        return 0.0

    # ---- marks and requests

    def open_change(self, factor: str) -> int:
        """Begin hands-on time for a factor, or go on with one that was left running."""
        running = next((m for m in self._reader.marks if m.hands_on and m.factor == factor), None)
        return self._marker.open_change(factor) if running is None else self._marker.adopt(running)

    def settle_change(self, number: int, value: str, note: str = "") -> None:
        """End the hands-on time of a change."""
        self._marker.settle_change(number, plain_text(value, 80), plain_text(note, 2000))

    def leave_plain(self, number: int) -> None:
        """Turn a begun change into a plain mark."""
        self._marker.leave_plain(number)

    def plain_mark(self) -> int:
        """Mark this moment."""
        return self._marker.plain_mark()

    def add_note(self, text: str) -> int:
        """Write a remark at this moment."""
        return self._marker.add_note(plain_text(text, 2000))

    def undo(self) -> Mark | None:
        """Withdraw the operator's newest standing mark made here."""
        return self._marker.undo()

    def redo(self) -> Mark | None:
        """Make the mark withdrawn last here stand again."""
        return self._marker.redo()

    def lock_latency(self, *, locked: bool) -> None:
        """Measure at the present latency, or look for it again; the thread that looks does it."""
        self._lock_wish = locked

    def ask(self, verb: Verb, value: str = "") -> None:
        """Ask the recorder for something."""
        self._marker.ask(verb, value)

    def measure(self, progress: Progress) -> Measurement:
        """Measure every step up to now (in replay, every step), and what they say together."""
        return self._measuring.measure(progress)

    def close(self) -> None:
        """Let go of the session's files."""
        self._measuring.close()
        self._marker.close()
        self._reader.close()

    # ---- the picture

    def look(self, view: View) -> Snapshot:
        """Measure up to the moment and return what to show."""
        strokes, self._strokes = self._strokes, self._marker.strokes
        self._reader.refresh(rows_each_s=ROWS_EVERY_S if strokes == self._strokes else 0.0)
        self._carry_out_lock()
        sample, now_ns, phase = self._picture_moment()
        reader = self._reader
        key = (
            view,
            phase,
            *map(len, (reader.mark_rows, reader.outcomes, reader.health, reader.gaps)),
            reader.ending,
        )
        looked_at, picture = self._thorough
        if not self.is_replay and picture is not None and picture.strip is not None and key == looked_at[1:]:
            new = sample - int(looked_at[0])
            if 0 < new < THOROUGH_S * self.facts.rate_hz:
                return self._glance(picture, view, sample, now_ns)
        picture = self._look_thoroughly(view, sample, now_ns, phase)
        self._thorough = ((sample, *key), picture)
        return picture

    def _carry_out_lock(self) -> None:
        """Do what `lock_latency` was asked for."""
        wish, self._lock_wish = self._lock_wish, None
        latency = self._analyst.latency
        if wish is None or latency is None or latency.locked is wish:
            return
        here_s, half_s = self._analyst.shift_s, (latency.seconds.high - latency.seconds.low) / 2
        still = replace(latency, seconds=Estimate(here_s, here_s - half_s, here_s + half_s), drift_ppm=None)
        self._analyst.lock(replace(still, locked=True) if wish else None)
        self._thorough, self._window_reading = ((), None), (None, 0.0, (NOTHING, None))

    def _glance(self, picture: Snapshot, view: View, sample: int, now_ns: int) -> Snapshot:
        """A picture with time, strip and input brought up to the moment: only these move so fast."""
        strip = self._strip.make(view, now_ns, self._analyst.shift_s, picture.marks)
        gaps = tuple(gap for gap in self._reader.gaps if gap.start_ns <= now_ns)
        health = self._health.at(sample, gaps, self._audio_age_s(), self._hindrance(now_ns))
        return picture.moved_on(now_ns, self._reader.end_ns, strip=strip, health=health)

    def _look_thoroughly(self, view: View, sample: int, now_ns: int, phase: Phase) -> Snapshot:
        marks = self._reader.marks
        shown = marks if self.is_replay else tuple(mark for mark in marks if mark.t_ns <= now_ns + NS)
        begun = tuple(mark for mark in shown if mark.t_ns <= max(now_ns, self.moment_ns()))
        setup = setup_at(max(now_ns, 0), self.facts.setup, begun)
        self._tally.follow(self._reader.polls, self._reader.polls_forgotten)
        self._troubles.follow(self._reader.health)
        self._line.follow(self._reader.health)
        gaps = tuple(gap for gap in self._reader.gaps if gap.start_ns <= now_ns)
        step = self._step_now(now_ns, begun)
        trial = self._trial.read(min(self._known_until(sample), sample), now_ns)
        readings = self._readings(view, sample, now_ns, step, trial)
        return Snapshot(
            phase=phase,
            now_ns=now_ns,
            duration_ns=self._reader.end_ns,
            speed=self._speed(),
            **readings,
            step_seconds=(now_ns - step.start_ns) / NS if step else 0.0,
            step_start_ns=step.start_ns if step else None,
            latency=self._analyst.latency,
            strip=self._strip.make(view, now_ns, self._analyst.shift_s, shown)
            if self._reader.anchors
            else None,
            polling=polling_state(self.facts, setup, self._tally, self._troubles, now_ns),
            health=self._health.at(sample, gaps, self._audio_age_s(), self._hindrance(now_ns)),
            setup=setup,
            marks=shown,
            open_mark=next((mark for mark in reversed(begun) if mark.hands_on), None),
            notices=self._notices(now_ns),
            trial=trial,
        )

    def _hindrance(self, now_ns: int) -> str:
        """What keeps the recording from being whole at a moment, in words; empty when nothing does."""
        return LOCKED if self._untold_s() else self._line.until(now_ns)

    def _speed(self) -> float:
        return 1.0

    def _audio_age_s(self) -> float:
        return 0.0

    def _step_now(self, now_ns: int, marks: tuple[Mark, ...]) -> Step | None:
        """The step the moment lies in; None during hands-on time."""
        steps = steps_of(self.facts.setup, marks, self._reader.start_ns, now_ns)
        return steps[-1] if steps and steps[-1].end_ns >= now_ns else None

    def _readings(
        self, view: View, sample: int, now_ns: int, step: Step | None, trial: TrialReading | None
    ) -> dict[str, Any]:
        """Window and step readings and the window's spectrum.

        The window slides, so the verdict over it is that of the step: evidence that begins anew at every look
        would find a tie in anything, given time.
        """
        if not self._reader.anchors:
            return {}
        analyst, clock = self._analyst, self._reader.clock
        self._follow(sample, view.window_s)
        until_s = sample / clock.rate_hz
        if step is None:
            waiting = Reading(0, 0.0, warnings=("Hands on: measuring goes on when the change is confirmed.",))
            rows = analyst.rows(until_s - view.window_s, until_s)
            return {"window": waiting, "step": waiting, "spectrum": spectrum_of(rows) if rows else None}
        run_s = clock.runs[analyst.run][0] / clock.rate_hz  # before it another latency holds
        start_s = float(clock.nearest_s(step.start_ns))
        begin_s = max(round(start_s + analyst.shift_at(start_s), 3), run_s)
        keep_from_s = max(begin_s, until_s - KEEP_S)
        if keep_from_s - analyst.cover_s > SLACK_S:
            analyst.forget_before(keep_from_s)
        analyst.fold(begin_s, until_s - view.window_s - BEHIND_S)
        self._backfilled, before = analyst.backfill(keep_from_s), self._backfilled
        held_up, self._held_up = self._held_up, self._untold_s() > 0
        if not before or held_up:
            self._step_reading = (-1.0, 0.0, NOTHING)
        in_step = trial_between(trial, step.start_ns, step.end_ns)

        def judged(read: Reading) -> Reading:
            return as_control(verdict_with_trial(read, in_step), step.setup)

        within = begin_s >= until_s - view.window_s - LEAD_S  # all of the step lies in the window
        whole = None if within else judged(self._read_step(begin_s, until_s))
        window, spectrum = self._read_window(begin_s, until_s, view.window_s, whole)
        if self._held_up:
            window = UNTOLD
        whole = whole or judged(self._with_remarks(window, begin_s, until_s))
        window = judged_by(window, whole)
        tied = window.verdict is Verdict.TIED
        character = self._rate_ear.listen(begin_s, until_s, analyst.shift_s) if tied else None
        return {"window": window, "step": whole, "spectrum": spectrum, "character": character}

    def _read_window(
        self, begin_s: float, until_s: float, window_s: float, step: Reading | None
    ) -> tuple[Reading, Spectrum | None]:
        """Reading and spectrum of the sliding window, read anew only when there is new audio to speak of.

        The evidence of the step's reading, where there is one beside it, judges the window too.
        """
        key = (begin_s, window_s, self._analyst.latency)
        known, read_to, found = self._window_reading
        if known == key and self._is_fresh(read_to, until_s, REREAD_S):
            return found
        rows = self._analyst.rows(max(begin_s, until_s - window_s - LEAD_S), until_s)
        found = (NOTHING, None) if rows is None else self._read_bins(rows, key, until_s, step)
        self._window_reading = (key, until_s, found)
        return found

    def _read_bins(
        self, rows: PollRows, key: object, until_s: float, step: Reading | None
    ) -> tuple[Reading, Spectrum]:
        """Reading and spectrum of rows held bin by bin; tones are looked for now and then, once for both."""
        known, looked_s, tonal = self._tones
        if known != key or not 0 <= until_s - looked_s < TONES_EVERY_S or rows.seconds < TONES_LAST_FROM_S:
            tonal = tonal_bins(rows, Band())
            self._tones = (key, until_s, tonal)
        banded, sums = sums_of(rows, tonal=tonal)
        told = step.p_value if step is not None else self._told_tie(key, until_s)
        reading = take_reading(banded, latency=self._analyst.latency, p_value=told)
        if told is None and reading.verdict is Verdict.TIED:
            self._tie = (key, until_s, reading.p_value)
        return reading, sums.spectrum()

    def _told_tie(self, key: object, until_s: float) -> float | None:
        """The evidence of a tie that was found a moment ago; None where the rows are to be asked."""
        known, told_s, p_value = self._tie
        return p_value if known == key and 0 <= until_s - told_s < TIE_SERVES_S else None

    def _read_step(self, begin_s: float, until_s: float) -> Reading:
        """Reading since the step began; a long step is read again only when it has grown enough."""
        begun, read_to, reading = self._step_reading
        fresh_s = max(STEP_REREAD_S, STEP_GROWTH * (until_s - begin_s))
        if begun == begin_s and self._is_fresh(read_to, until_s, fresh_s):
            return reading
        rows = self._analyst.all_rows(begin_s, until_s)
        reading = take_reading(rows, latency=self._analyst.latency) if rows else NOTHING
        reading = self._with_remarks(reading, begin_s, until_s)
        self._step_reading = (begin_s, until_s, reading)
        return reading

    def _with_remarks(self, reading: Reading, begin_s: float, until_s: float) -> Reading:
        """The reading of a step, with what it leaves out."""
        if until_s - begin_s > KEEP_S + SLACK_S:
            reading = replace(reading, warnings=(*reading.warnings, LONG_STEP))
        if begin_s in {first / self.facts.rate_hz for first, _ in self._reader.clock.runs[1:]}:
            reading = replace(reading, warnings=(*reading.warnings, CUT_STEP))
        return reading

    def _is_fresh(self, read_to_s: float, until_s: float, patience_s: float) -> bool:
        """Whether a reading up to one time still serves at another; a session's last one is of all of it."""
        over = self._reader.ending is not None and not self.is_replay
        serves = until_s == read_to_s if over else 0 <= until_s - read_to_s < patience_s
        return serves and self._backfilled

    def _follow(self, sample: int, window_s: float) -> None:
        """Bring the analyst to the moment, in the right capture run."""
        runs = self._reader.clock.runs
        run = max(i for i, (first, _) in enumerate(runs) if first <= sample or i == 0)
        first = int(runs[run][0])
        rate = self.facts.rate_hz
        held_s = max(self._analyst.cover_s, self._analyst.bins_from_s + window_s)
        known = min(self._known_until(sample), sample)
        covered = held_s * rate <= sample and known <= (self._analyst.end_s + 120) * rate
        if run != self._analyst.run or not covered:
            self._analyst.restart(max(first, known - int((window_s + BEHIND_S) * rate)), run)
        end = runs[run][1]
        if np.isfinite(end):
            known, sample = min(known, int(end)), min(sample, int(end))
        self._analyst.advance(known, sample)

    def _notices(self, now_ns: int) -> tuple[str, ...]:
        """Refused requests, troubles of the inputs and how the session ended; newest last."""
        said: list[tuple[int, str]] = []
        for outcome in self._reader.outcomes[-5:]:
            words = outcome.note if outcome.done else f"refused: {outcome.note}"
            said.append((outcome.t_ns, words))
        said += [(note.t_ns, f"{note.kind}: {note.note}".rstrip(": ")) for note in self._reader.health[-5:]]
        ending = self._reader.ending
        if ending is not None:
            said.append((ending.t_ns, f"session ended: {ending.how} {ending.note}".rstrip()))
        return tuple(words for t_ns, words in sorted(said) if t_ns <= now_ns + NS)[-4:]


def check_speed(speed: float) -> float:
    """A replay speed within 0.5 to 64.

    Raises:
        BadInputError: it is not.
    """
    if not 0.5 <= speed <= 64:
        raise BadInputError(f"replay speed must be 0.5 to 64, not {speed:g}")
    return speed
