"""A second audio channel that carries the data line itself: its bursts, on the session's clock.

Times come from the sample index, so bursts and audio lie on one clock to the sample. For that the mapping
from samples to session time must be the one that readers will use. They draw straight lines between anchors;
here each anchor is therefore settled a second before it is written.
"""

from __future__ import annotations

from collections.abc import Callable

from telltick.model.clock import NS
from telltick.model.framing import Framing
from telltick.model.tap import ChannelPlan
from telltick.model.traffic import Burst
from telltick.sources.audio import Samples
from telltick.sources.line_signal import LineBurst, LineSignal

HOLD_ANCHORS = 11  # readers level out the anchors of a run's first ten seconds: these are level already
MOST_SLEW_NS = 200_000  # from one anchor to the next: a fifth of a millisecond a second


class PlannedAnchors:
    """Anchors of one capture run, one each second of audio, known a second ahead."""

    def __init__(self, rate_hz: int, first_sample: int, t_ns: int) -> None:
        """Begin a run whose first sample is at session time `t_ns`."""
        self._rate_hz = rate_hz
        self.sample = first_sample  # of the newest anchor
        self._offset_ns = self._next_offset_ns = float(t_ns - self._span_ns(first_sample))
        self._count = 0

    def due(self, end_sample: int) -> bool:
        """Whether the next anchor lies before `end_sample`."""
        return end_sample > self.sample + self._rate_hz

    def step(self, t_ns: int) -> None:
        """Go on to the next anchor.

        Args:
            t_ns: session time of its sample, by what is known now.
        """
        self.sample += self._rate_hz
        self._count += 1
        self._offset_ns = self._next_offset_ns
        if self._count >= HOLD_ANCHORS:
            wanted = t_ns - self._span_ns(self.sample)
            self._next_offset_ns += min(max(wanted - self._offset_ns, -MOST_SLEW_NS), MOST_SLEW_NS)

    @property
    def anchor_ns(self) -> int:
        """Session time of the newest anchor."""
        return self.t_ns(self.sample)

    def t_ns(self, sample: float) -> int:
        """Session time of a sample since the anchor before the newest one."""
        share = max((sample - self.sample) / self._rate_hz, 0.0)
        offset_ns = self._offset_ns + share * (self._next_offset_ns - self._offset_ns)
        return round(self._span_ns(sample) + offset_ns)

    def _span_ns(self, sample: float) -> float:
        return sample * NS / self._rate_hz


class LineChannel:
    """Bursts of the data line, as its channel is recorded beside the receiver's."""

    def __init__(self, plan: ChannelPlan, rate_hz: int, tell: Callable[[Burst], None]) -> None:
        """Begin with silence.

        Args:
            plan: what is known of the line.
            rate_hz: sample rate.
            tell: told of every burst.
        """
        self._plan = plan
        self._tell = tell
        self._signal = LineSignal(rate_hz, plan.baud, Framing.parse(plan.framing))

    @property
    def channel(self) -> int:
        """The channel that it is heard on, counted from 1."""
        return self._plan.channel

    def take(self, first: int, samples: Samples, t_ns: Callable[[float], int]) -> None:
        """Take in a block.

        Args:
            first: index of its first sample.
            samples: shape (n,), the line's channel.
            t_ns: session time of a sample.
        """
        self._tell_all(self._signal.feed(first, samples), t_ns)

    def end_run(self, t_ns: Callable[[float], int]) -> None:
        """Tell of what is under way: what comes next does not follow it."""
        self._tell_all(self._signal.flush(), t_ns)

    def _tell_all(self, bursts: list[LineBurst], t_ns: Callable[[float], int]) -> None:
        for one in bursts:
            self._tell(Burst(t_ns(one.start), t_ns(one.end), self._plan.direction, one.data))
