"""A session of the bench as a script: what changes when, and the traffic that follows from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from telltick.model.clock import NS
from telltick.model.plan import REQUEST_IGNORED, PollPlan
from telltick.model.traffic import Burst, Direction, Poll, PollOutcome
from telltick.model.trial import FACTOR as COIN_TRIAL
from telltick.model.trial import TrialSlot, rhythm_for
from telltick.sources.bench.radio import REQUEST_FOR_ANOTHER, STATUS_REQUEST, Radio
from telltick.sources.bench.state import BenchState
from telltick.sources.schedule import Schedule, TrialSchedule

TRIAL_GUARD_S = 0.008  # between a poll and the next slot of a coin trial, as the poller keeps


@dataclass(frozen=True, slots=True)
class Change:
    """A factor of the bench, or of the polling, set to a value.

    Attributes:
        t_s: when, in seconds of session time.
        factor: as in a mark; the bench's own, or ``polling`` (on, off), ``baud``, ``poll interval``,
            ``request`` (answered or ignored by the radio), or ``coin trial`` (on, off).
        value: as in a mark.
    """

    t_s: float
    factor: str
    value: str


def state_at(t_s: float, changes: Sequence[Change]) -> BenchState:
    """How the bench stands after every change up to `t_s`; `changes` in order of time."""
    state = BenchState()
    for change in changes:
        if change.t_s <= t_s:
            state = state.after(change.factor, change.value)
    return state


class ScriptedPolling:
    """Polls the radio by the poller's own schedule, in no time.

    Attributes:
        bursts: the traffic so far, with the exact times of its bits.
        polls: the polls so far.
        drawn: the draws of coin trials so far.
    """

    def __init__(self, seed: int, plan: PollPlan, radio: Radio | None = None) -> None:
        """Set up.

        Args:
            seed: of the schedule's jitter, the coin trial's draws and the radio.
            plan: how the radio is polled, until a change says otherwise.
            radio: the radio, if not the usual one.
        """
        self.bursts: list[Burst] = []
        self.polls: list[Poll] = []
        self.drawn: list[TrialSlot] = []
        self._radio = radio or Radio(seed, plan.line)
        self._schedule = Schedule(plan.interval_s, plan.jitter_ms, seed)
        self._trial: TrialSchedule | None = None
        self._legs = 0
        self._seed = seed
        self._plan = plan
        self._now_ns = 0
        self._schedule.restart(0)

    def run(self, seconds: float, changes: Sequence[Change]) -> None:
        """Poll through a whole session; `changes` in order of time."""
        for change in changes:
            if change.t_s < seconds:
                self._poll_until(round(change.t_s * NS))
                self._follow(change)
                self._radio.plugged = not state_at(change.t_s, changes).unplugged
        self._poll_until(round(seconds * NS))

    def _follow(self, change: Change) -> None:
        if change.factor == COIN_TRIAL:
            self._toss(change)
            return
        before, self._plan = self._plan, _replanned(self._plan, change)
        if self._plan != before:
            self._now_ns = max(self._now_ns, round(change.t_s * NS))
            self._schedule.restart(self._now_ns, self._plan.interval_s)

    def _toss(self, change: Change) -> None:
        """Begin or end a coin trial, as the poller does."""
        self._now_ns = max(self._now_ns, round(change.t_s * NS))
        self._trial = None
        if change.value.strip() != "on":
            self._schedule.restart(self._now_ns, self._plan.interval_s)
            return
        took_ns = max((b.end_ns for b in self.bursts[-2:]), default=0) - self.polls[-1].sent_ns
        rhythm = rhythm_for(round(self._plan.interval_s * NS), took_ns + round(TRIAL_GUARD_S * NS))
        self._trial = TrialSchedule(rhythm, self._seed, self._legs)
        self._legs += 1
        self._trial.restart(self._now_ns)

    def _poll_until(self, end_ns: int) -> None:
        """Send what is due before `end_ns`; a request that was sent is answered, even beyond."""
        while self._plan.enabled:
            slot = (self._trial or self._schedule).next_slot(self._now_ns)
            if slot.due_ns >= end_ns:
                return
            number = len(self.polls)
            if slot.drawn is not None:
                self.drawn.append(replace(slot.drawn, poll=number))
            bursts = self._radio.hear(slot.due_ns, self._plan.frame, self._plan.baud)
            self.bursts += [replace(burst, poll=number) for burst in bursts]
            self.polls.append(_poll(number, slot.due_ns, bursts))
            self._now_ns = bursts[-1].end_ns


def _replanned(plan: PollPlan, change: Change) -> PollPlan:
    match change.factor:
        case "polling":
            return replace(plan, enabled=change.value.strip() == "on")
        case "baud":
            return replace(plan, baud=int(change.value))
        case "poll interval":
            return replace(plan, interval_s=float(change.value.removesuffix("s")))
        case "request":
            one, other = STATUS_REQUEST.decode(), REQUEST_FOR_ANOTHER.decode()
            sent, left = (other, one) if change.value == REQUEST_IGNORED else (one, other)
            return replace(plan, frame_text=sent, unanswered_text=left)
    return plan


def _poll(number: int, due_ns: int, bursts: Sequence[Burst]) -> Poll:
    sent = bursts[0]
    replies = [burst for burst in bursts if burst.direction is Direction.RX]
    if not replies:
        return Poll(number, due_ns, sent.start_ns, PollOutcome.TIMEOUT)
    return Poll(number, due_ns, sent.start_ns, PollOutcome.REPLY, replies[0].start_ns - sent.end_ns)
