"""How the inputs fare at a moment: the poller's state and the audio's health, from the session's facts."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import replace
from statistics import median

import numpy as np
import numpy.typing as npt

from telltick.model.clock import NS
from telltick.model.session import Gap, GapKind, HealthNote, SessionFacts
from telltick.model.snapshot import InputHealth, PollingState
from telltick.model.traffic import Poll, PollOutcome
from telltick.store.segments import AudioReader

FULL_SCALE = 32_767
FULL_SCALE_SINE_POWER = (FULL_SCALE + 1) ** 2 / 2  # AES17: 0 dBFS is the r.m.s. of a full-scale sine
QUIET_DBFS = -75.0
LOUD_DBFS = -6.0
RECENT_POLLS = 25
CLIPS_S = 10  # clipping is told for so long
_PIECE = 8192  # samples


def judged(
    last: npt.NDArray[np.int16],
    rate_hz: int,
    gaps: tuple[Gap, ...] = (),
    age_s: float = 0.0,
    clipped: int | None = None,
) -> InputHealth:
    """Judge the last seconds of an input.

    Args:
        last: shape (n,), up to ten seconds of audio; level and peak are those of the last second.
        rate_hz: sample rate.
        gaps: gaps so far.
        age_s: time since the newest audio arrived.
        clipped: samples at full scale; counted in `last` unless given.
    """
    second = last[-rate_hz:]
    level = peak = None
    if len(second):
        level = _db(_energy(second) / len(second) / FULL_SCALE_SINE_POWER)
        peak = 2 * _db(max(int(second.max()), -int(second.min())) / FULL_SCALE)
    clipped = clipped_in(last) if clipped is None else clipped
    last_gap = f"{gaps[-1].kind}: {gaps[-1].note}".rstrip(": ") if gaps else ""
    advice = _advice(level, clipped, gaps)
    return InputHealth(level, peak, clipped, len(gaps), last_gap, max(age_s, 0.0), advice)


def _energy(samples: npt.NDArray[np.int16]) -> float:
    """Sum of squares, a piece at a time: so little memory is at hand."""
    pieces = (samples[at : at + _PIECE].astype(np.float32) for at in range(0, len(samples), _PIECE))
    return sum(float(piece @ piece) for piece in pieces)


def clipped_in(samples: npt.NDArray[np.int16]) -> int:
    """How many samples are at full scale."""
    if not len(samples) or (samples.max() < FULL_SCALE and samples.min() > -FULL_SCALE):
        return 0  # nearly always, and at a tenth of the cost of counting
    return int(np.count_nonzero((samples >= FULL_SCALE) | (samples <= -FULL_SCALE)))


class HealthWatch:
    """Judges the input twice a second; between two judgements only the age of the audio moves on."""

    def __init__(self, audio: AudioReader) -> None:
        self._audio = audio
        self._at = -audio.rate_hz
        self._clipped: deque[tuple[int, int]] = deque()  # (sample after a piece, how many in it)
        self._gaps: tuple[Gap, ...] = ()
        self._judged = InputHealth()

    def at(self, now_sample: int, gaps: tuple[Gap, ...], age_s: float, hindrance: str = "") -> InputHealth:
        """Health at a moment.

        Args:
            now_sample: the moment, as a sample index.
            gaps: gaps up to the moment.
            age_s: time since the newest audio arrived.
            hindrance: advice that goes before any about the level; sound that does not come in goes first.
        """
        if gaps != self._gaps or not 0 <= now_sample - self._at < self._audio.rate_hz // 2:
            self._judge(now_sample, gaps, age_s)
        silent = bool(gaps) and gaps[-1].end_ns is None
        advice = self._judged.advice if silent or not hindrance else hindrance
        return replace(self._judged, audio_age_s=max(age_s, 0.0), advice=advice)

    def _judge(self, now: int, gaps: tuple[Gap, ...], age_s: float) -> None:
        """Judge anew; of ten seconds only what is new is read, and the last second."""
        rate = self._audio.rate_hz
        oldest = max(now - CLIPS_S * rate, 0)
        if not oldest <= self._at <= now:
            self._clipped.clear()
            self._at = oldest
        first = max(min(self._at, now - rate), 0)
        samples = self._audio.read(first, now - first)
        self._clipped.append((now, clipped_in(samples[self._at - first :])))
        while self._clipped[0][0] <= oldest < now:
            self._clipped.popleft()
        self._judged = judged(samples, rate, gaps, age_s, sum(count for _, count in self._clipped))
        self._at, self._gaps = now, gaps


def _db(power_ratio: float) -> float:
    return 10 * math.log10(max(power_ratio, 1e-15))


def _advice(level_dbfs: float | None, clipped: int, gaps: tuple[Gap, ...]) -> str:
    if gaps and gaps[-1].end_ns is None and gaps[-1].kind is GapKind.DISK_FULL:
        return "the disk is full and nothing is recorded: free some space, then ask to resume"
    if gaps and gaps[-1].end_ns is None:
        return "no audio comes in: check the cable and the sound input"
    if level_dbfs is None:
        return ""
    if clipped:
        return "the input clips: lower the audio level until it stops"
    if level_dbfs < QUIET_DBFS:
        return "the input is very quiet: raise the audio level"
    if level_dbfs > LOUD_DBFS:
        return "the input is close to full scale: lower the audio level"
    return ""


class PollTally:
    """Counts polls by outcome up to any moment, without counting them all again at each look."""

    def __init__(self) -> None:
        self._dropped = 0
        self._polls: Sequence[Poll] = ()
        self._sent_ns: list[int] = []
        self._after: list[tuple[int, int, int]] = [(0, 0, 0)]  # counts of each outcome after so many polls

    def follow(self, polls: Sequence[Poll], forgotten: int = 0) -> None:
        """Take in polls that were added at the end.

        Args:
            polls: the session's polls but for the first.
            forgotten: how many of the first are left out; their counts stay.
        """
        if forgotten > self._dropped:
            gone, self._dropped = forgotten - self._dropped, forgotten
            del self._sent_ns[:gone], self._after[:gone]
        for poll in polls[len(self._sent_ns) :]:
            replies, timeouts, errors = self._after[-1]
            self._after.append(
                (
                    replies + (poll.outcome is PollOutcome.REPLY),
                    timeouts + (poll.outcome is PollOutcome.TIMEOUT),
                    errors + (poll.outcome is PollOutcome.ERROR),
                )
            )
            self._sent_ns.append(poll.sent_ns)
        self._polls = polls

    def until(self, now_ns: int) -> tuple[int, tuple[int, int, int], float | None]:
        """(polls, counts of reply, timeout and error, median reply time of the last ones in ms)."""
        count = bisect_right(self._sent_ns, now_ns)
        last = self._polls[max(0, count - RECENT_POLLS) : count]
        replies = [poll.reply_ns for poll in last if poll.reply_ns is not None]
        return self._dropped + count, self._after[count], median(replies) / NS * 1000 if replies else None


class TroubleTally:
    """Counts late replies and garbage up to a moment; a note may stand for several."""

    GARBAGE = frozenset({"serial garbage", "incomplete reply"})

    def __init__(self) -> None:
        self._seen = 0
        self._t_ns: list[int] = []
        self._after: list[tuple[int, int]] = [(0, 0)]

    def follow(self, notes: Sequence[HealthNote]) -> None:
        """Take in notes that were added at the end."""
        for note in notes[self._seen :]:
            late, garbage = self._after[-1]
            count = max(round(note.value), 1) if math.isfinite(note.value) else 1
            if note.kind == "late reply":
                late += count
            elif note.kind in self.GARBAGE:
                garbage += count
            else:
                continue
            self._t_ns.append(note.t_ns)
            self._after.append((late, garbage))
        self._seen = len(notes)

    @property
    def total(self) -> tuple[int, int]:
        """(late replies, garbage) of all notes."""
        return self._after[-1]

    def until(self, now_ns: int) -> tuple[int, int]:
        """(late replies, garbage)."""
        return self._after[bisect_right(self._t_ns, now_ns)]


def polls_itself(facts: SessionFacts) -> bool:
    """Whether a poller of our own is part of a session."""
    return facts.poll.get("baud") is not None and facts.poll.get("interval_s") is not None


def polling_state(
    facts: SessionFacts, setup: Mapping[str, str], tally: PollTally, troubles: TroubleTally, now_ns: int
) -> PollingState:
    """State of our own poller at a moment.

    Args:
        facts: the session's facts.
        setup: the setup at the moment; the poller journals its own changes there.
        tally: the session's polls.
        troubles: what else its poller met.
        now_ns: the moment.
    """
    planned = facts.poll.get("baud")
    baud = None if planned is None else int(_number(setup.get("baud"), float(planned)))
    if baud is None or not polls_itself(facts):
        return PollingState(baud=baud, framing=str(facts.poll.get("framing", "")))
    polls, (replies, timeouts, errors), reply_ms = tally.until(now_ns)
    late, garbage = troubles.until(now_ns)
    return PollingState(
        available=True,
        on=setup.get("polling") == "on",
        interval_s=_number(setup.get("poll interval"), float(facts.poll["interval_s"])),
        baud=baud,
        framing=str(facts.poll.get("framing", "")),
        polls=polls,
        replies=replies,
        timeouts=timeouts,
        errors=errors,
        late=late,
        garbage=garbage,
        reply_ms=reply_ms,
    )


def _number(text: str | None, otherwise: float) -> float:
    try:
        number = float((text or "").split()[0])
    except (ValueError, IndexError):
        return otherwise
    return number if math.isfinite(number) else otherwise
