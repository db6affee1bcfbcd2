"""One clock for audio and serial traffic.

Session time is int nanoseconds on the monotonic clock since the session started. Audio has its own clock, the
sample index; this module maps one to the other. An audio callback always comes *after* its last sample, by a
delay that jitters by milliseconds but has a hard lower edge. The smallest delay seen over some seconds is
therefore a steady estimate of ``t(n) - n / rate`` (the min-filter mapping, good to 0.3 ms; see
``../shared/design.md`` section 6 for the measurement behind it).
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Sequence
from copy import copy
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

NS = 1_000_000_000
_SETTLE_S = 10.0  # until the filter has settled
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Anchor:
    """A point where the audio clock meets the session clock.

    Attributes:
        run: capture run; a new one starts after every gap, with a mapping (and a latency) of its own.
        sample: index of an audio sample in the session's files.
        t_ns: session time of that sample.
        wall_ns: wall-clock time (Unix epoch) when the anchor was taken; for display only.
    """

    run: int
    sample: int
    t_ns: int
    wall_ns: int


class ArrivalFilter:
    """Min-filter over block arrivals: maps sample indices of one capture run to session time."""

    def __init__(self, rate_hz: int, window_s: float = 10.0) -> None:
        self._rate_hz = rate_hz
        self._window_ns = int(window_s * NS)
        self._arrivals: deque[tuple[int, int]] = deque()  # (arrival_ns, offset_ns), offsets increasing

    def add(self, end_sample: int, arrival_ns: int) -> None:
        """Note that the samples before `end_sample` had arrived at session time `arrival_ns`."""
        offset = arrival_ns - self._span_ns(end_sample)
        while self._arrivals and self._arrivals[-1][1] >= offset:
            self._arrivals.pop()
        self._arrivals.append((arrival_ns, offset))
        while arrival_ns - self._arrivals[0][0] > self._window_ns:
            self._arrivals.popleft()

    def t_ns(self, sample: int) -> int:
        """Session time of a sample.

        Raises:
            ValueError: no block has arrived yet.
        """
        if not self._arrivals:
            raise ValueError("no audio block has arrived yet")
        return self._arrivals[0][1] + self._span_ns(sample)

    def _span_ns(self, samples: int) -> int:
        return samples * NS // self._rate_hz


class AudioClock:
    """Maps session time to sample index and back, run by run.

    Between anchors the mapping is linear; outside a run's anchors it continues at the nominal rate. The first
    seconds of a run are mapped with the smallest offset of the ten seconds that follow, since the min-filter
    had not settled when those anchors were taken.
    """

    def __init__(self, rate_hz: int, anchors: Iterable[Anchor] = (), end_sample: int | None = None) -> None:
        """Build the mapping.

        Args:
            rate_hz: nominal sample rate.
            anchors: any order; each run's first anchor must be at the run's first sample.
            end_sample: number of samples recorded so far; bounds the last run (None: unbounded).
        """
        self.rate_hz = rate_hz
        points = _points(anchors)
        points = points[np.lexsort((points["sample"], points["run"]))]
        _, begins = np.unique(points["run"], return_index=True)
        lines = [_Line(rate_hz, group) for group in np.split(points, begins[1:]) if len(group)]
        ends = [*(line.first_sample for line in lines[1:]), np.inf if end_sample is None else end_sample]
        self._runs = [_Run(line, end) for line, end in zip(lines, ends, strict=False)]

    def ending_at(self, end_sample: int) -> AudioClock:
        """The same mapping after more audio has come in; costs nothing, however many anchors there are."""
        return self._with([*self._runs[:-1], *(_Run(run.line, end_sample) for run in self._runs[-1:])])

    def with_more(self, anchors: Sequence[Anchor]) -> AudioClock | None:
        """The mapping with anchors added that go on where its last run stops; None where they do not.

        A day brings an anchor each second: it need not be worked out anew for each.
        """
        if not self._runs or not self._runs[-1].line.is_followed_by(anchors):
            return None
        last = self._runs[-1]
        return self._with([*self._runs[:-1], _Run(last.line.with_more(anchors), last.end_sample)])

    def _with(self, runs: list[_Run]) -> AudioClock:
        grown = copy(self)
        grown._runs = runs
        return grown

    @property
    def runs(self) -> tuple[tuple[int, float], ...]:
        """(first sample, end sample) of each capture run; the end may be infinite."""
        return tuple((run.first_sample, float(run.end_sample)) for run in self._runs)

    def sample_at(self, t_ns: npt.ArrayLike) -> Floats:
        """Fractional sample index heard at session times `t_ns`; NaN where no audio was captured."""
        t = np.asarray(t_ns, dtype=np.float64)
        out = np.full(t.shape, np.nan)
        for run in self._runs:
            n = run.line.sample_at(t)
            inside = (n >= run.first_sample) & (n < run.end_sample)
            out[inside] = n[inside]
        return out

    def samples_at(self, t_ns: Sequence[float]) -> list[float]:
        """`sample_at` of a few times, in a fifth of its time where all of them lie beyond the last anchor."""
        last = self._runs[-1] if self._runs else None
        if last is None or min(t_ns) < last.line.last_t_ns:
            return list(map(float, self.sample_at(t_ns)))
        found = map(last.line.sample_beyond, t_ns)
        return [sample if sample < last.end_sample else math.nan for sample in found]

    def nearest_s(self, t_ns: npt.ArrayLike) -> Floats:
        """Seconds of audio at session times, or nearest to them; in a gap, where audio comes back.

        Returns:
            shape of `t_ns`; NaN when the session has no anchors.
        """
        t = np.asarray(t_ns, dtype=np.float64)
        out = np.full(t.shape, np.nan)
        for index, run in enumerate(self._runs):
            n = np.clip(run.line.sample_at(t), run.first_sample, run.end_sample)
            reached = (n > run.first_sample) | (index == 0)
            out[reached] = n[reached]
        return out / self.rate_hz

    def t_at(self, sample: npt.ArrayLike) -> npt.NDArray[np.int64]:
        """Session time in ns of sample indices; the nearest run serves for indices outside every run.

        Raises:
            ValueError: the session has no anchors.
        """
        if not self._runs:
            raise ValueError("the session has no audio clock anchors")
        n = np.asarray(sample, dtype=np.float64)
        which = np.searchsorted([run.first_sample for run in self._runs], n, side="right") - 1
        out = np.empty(n.shape, dtype=np.int64)
        for index, run in enumerate(self._runs):
            chosen = np.maximum(which, 0) == index
            out[chosen] = np.rint(run.line.t_at(n[chosen])).astype(np.int64)
        return out

    def t_ns(self, sample: int) -> int:
        """The same for one sample, in a tenth of the time where it lies beyond the last anchor.

        Raises:
            ValueError: the session has no audio clock anchors.
        """
        last = self._runs[-1].line if self._runs else None
        if last is not None and sample >= last.last_sample:
            return round(last.t_beyond(sample))
        return int(self.t_at(np.array([sample]))[0])


_POINT = np.dtype([("run", np.int64), ("sample", np.int64), ("t_ns", np.int64)])


def _points(anchors: Iterable[Anchor]) -> npt.NDArray[np.void]:
    """Anchors as numbers: as objects those of a day take 20 MB."""
    return np.fromiter(((a.run, a.sample, a.t_ns) for a in anchors), dtype=_POINT)


class _Line:
    """Anchors of one capture run as a piecewise linear map."""

    def __init__(self, rate_hz: int, points: npt.NDArray[np.void]) -> None:
        self.run = int(points["run"][0])
        self._rate_hz = rate_hz
        self._ns_per_sample = NS / rate_hz
        samples, offsets = self._offsets_of(points)
        self._settled_at = samples[0] + _SETTLE_S * rate_hz
        settled = np.searchsorted(samples, self._settled_at, side="right")
        offsets[:settled] = np.minimum.accumulate(offsets[:settled][::-1])[::-1]
        self._hold(samples, offsets)

    def _offsets_of(self, points: npt.NDArray[np.void]) -> tuple[Floats, Floats]:
        """Samples of anchors, and how much later in ns each lies than the nominal rate would have it."""
        samples = points["sample"].astype(np.float64)
        return samples, points["t_ns"].astype(np.float64) - samples * self._ns_per_sample

    def _hold(self, samples: Floats, offsets: Floats) -> None:
        self._samples, self._offsets = samples, offsets
        self._times = samples * self._ns_per_sample + offsets
        self.first_sample, self.last_sample = int(samples[0]), int(samples[-1])
        self._last_offset, self.last_t_ns = float(offsets[-1]), float(self._times[-1])

    def is_followed_by(self, anchors: Sequence[Anchor]) -> bool:
        """Whether anchors only add to the map what comes after it."""
        before = max(self.last_sample, int(self._settled_at))
        for anchor in anchors:
            if anchor.run != self.run or anchor.sample <= before:
                return False
            before = anchor.sample
        return True

    def with_more(self, anchors: Sequence[Anchor]) -> _Line:
        """The map with anchors that follow it."""
        samples, offsets = self._offsets_of(_points(anchors))
        grown = copy(self)
        grown._hold(np.append(self._samples, samples), np.append(self._offsets, offsets))
        return grown

    def t_at(self, sample: Floats) -> Floats:
        offset = np.interp(sample, self._samples, self._offsets)
        return np.asarray(sample * self._ns_per_sample + offset, dtype=np.float64)

    def t_beyond(self, sample: int) -> float:
        """The same for one sample after the last anchor."""
        return sample * self._ns_per_sample + self._last_offset

    def sample_beyond(self, t_ns: float) -> float:
        """`sample_at` of one time after the last anchor."""
        return (t_ns - self._last_offset) / self._ns_per_sample

    def sample_at(self, t: Floats) -> Floats:
        offset = np.interp(t, self._times, self._offsets)
        return np.asarray((t - offset) / self._ns_per_sample, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class _Run:
    """One capture run: its map, and the sample after its last one."""

    line: _Line
    end_sample: float

    @property
    def first_sample(self) -> int:
        """Its first sample."""
        return self.line.first_sample
