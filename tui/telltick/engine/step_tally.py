"""What has been gathered of one step: rows of polls in little memory, and what its spectrum is made of."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from telltick.measure.banded import SpectrumSums, sums_of
from telltick.measure.rows import GrowingRows, PollRows
from telltick.measure.stretches import Stretch, stretch_of
from telltick.model.readings import Latency

FOLD_S = 600.0  # audio whose rows are held bin by bin


@dataclass
class StepTally:
    """Rows of a step, taken in as the audio passes.

    Every ten minutes of audio, counted from the first row, the bins are added up; so memory is bounded,
    and it does not matter in which pieces the audio came.

    Attributes:
        start_s: where the step begins, in seconds of audio.
        latency: the latency that the rows were cut with.
        end_s: where its last row ends.
        polls: polls so far.
        held: rows held with their bins added up.
        let_go: what was found of the first rows, where these are no longer held.
    """

    start_s: float
    latency: Latency | None = None
    end_s: float = 0.0
    polls: int = 0
    held: int = 0
    let_go: list[Stretch] = field(default_factory=list)
    _bins: list[PollRows] = field(default_factory=list)
    _bands: GrowingRows | None = None
    _sums: SpectrumSums | None = None

    def add(self, rows: PollRows) -> None:
        """Take in the rows that follow the last ones; rows that are known already are passed over."""
        rows = rows.between(self.end_s - 1e-6, np.inf)
        while len(rows.poll):
            begin_s = float((self._bins or [rows])[0].start_s[0])
            now = rows.between(-1.0, begin_s + FOLD_S)
            rest = rows.pick(slice(len(now.poll), None))
            if len(now.poll):
                self._bins.append(now)
                self.end_s = float(now.end_s[-1])
                self.polls += now.polls
            if len(rest.poll):
                self._fold()
            rows = rest

    def let_go_of(self, count: int) -> None:
        """Measure the first of the rows whose bins are added up, and hold them no longer.

        Args:
            count: how many.
        """
        if self._bands is None:
            return
        rows = self._bands.rows()
        self.let_go.append(stretch_of(rows.pick(slice(0, count)), self.latency))
        rest = rows.pick(slice(count, None))
        self._bands = GrowingRows(rest) if len(rest.poll) else None
        self.held = len(rest.poll)

    def rows(self) -> PollRows | None:
        """All rows held with the bins of the band added up; None before there are any."""
        held = None if self._bands is None else self._bands.rows()
        if not self._bins:
            return held
        newest = sums_of(PollRows.join(self._bins))[0]
        return newest if held is None else PollRows.join([held, newest])

    def sums(self) -> SpectrumSums | None:
        """What the step's average spectra are made of."""
        if not self._bins:
            return self._sums
        newest = sums_of(PollRows.join(self._bins))[1]
        return newest if self._sums is None else self._sums.plus(newest)

    def close(self) -> None:
        """Let go of what only further rows would need."""
        self._fold()

    def _fold(self) -> None:
        if self._bins:
            banded, sums = sums_of(PollRows.join(self._bins))
            self._bins = []
            self.held += len(banded.poll)
            if self._bands is None:
                self._bands = GrowingRows(banded)
            else:
                self._bands.add(banded)
            self._sums = sums if self._sums is None else self._sums.plus(sums)
