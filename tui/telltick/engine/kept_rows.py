"""The rows that a view keeps: the newest bin by bin, older ones of a long step with the band added up.

A poll takes 3 kB bin by bin and a tenth of a kilobyte added up. Tones are looked for in two minutes at a
time, which hold more quiet than the search for tones looks at.
"""

from __future__ import annotations

from itertools import groupby

import numpy as np

from telltick.measure.banded import sums_of
from telltick.measure.rows import PollRows

FOLD_S = 120.0  # audio whose bins are added up at once
APART_S = 20.0  # rows so long before what is asked for are set apart
ORIGIN_SLACK_S = 0.5  # the latency may move the beginning of a step by so much


class KeptRows:
    """Rows of one capture run in order of time, without holes between them."""

    def __init__(self) -> None:
        self._parts: list[PollRows] = []
        self._origin_s = 0.0

    def __bool__(self) -> bool:
        return bool(self._parts)

    @property
    def start_s(self) -> float:
        """Start of the first row."""
        return float(self._parts[0].start_s[0])

    @property
    def end_s(self) -> float:
        """End of the last row."""
        return float(self._parts[-1].end_s[-1])

    @property
    def bins_from_s(self) -> float:
        """Rows are held bin by bin from here on."""
        folded = [part for part in self._parts if part.summed is not None]
        return float(folded[-1].end_s[-1]) if folded else -np.inf

    def add(self, rows: PollRows) -> None:
        """Take in rows that follow the last ones."""
        if len(rows.poll):
            self._parts.append(rows)

    def add_before(self, rows: PollRows) -> None:
        """Take in rows that come right before the first ones."""
        if len(rows.poll):
            self._parts.insert(0, rows)

    def newest(self, from_s: float, to_s: float) -> PollRows | None:
        """Rows wholly within a stretch, as far as they are held bin by bin; None when there are none."""
        first = max((k + 1 for k, part in enumerate(self._parts) if part.summed is not None), default=0)
        while first < len(self._parts) and self._parts[first].end_s[-1] <= from_s:
            first += 1
        if first == len(self._parts):
            return None
        if len(self._parts) - first > 1:
            self._parts[first:] = self._joined_apart(self._parts[first:], from_s)
        return _some(self._parts[-1].between(from_s, to_s))

    @staticmethod
    def _joined_apart(parts: list[PollRows], from_s: float) -> list[PollRows]:
        """The parts as one; where much of it lies before a time, as two, so that less is joined next time."""
        whole = PollRows.join(parts)
        before = int(np.searchsorted(whole.start_s, from_s))
        if from_s - whole.start_s[0] < APART_S or before == len(whole.poll):
            return [whole]
        return [PollRows.join([whole.pick(slice(*two))]) for two in ((0, before), (before, None))]

    def all_of(self, from_s: float, to_s: float) -> PollRows | None:
        """Rows wholly within a stretch, with the band added up where some of them are held so; or None."""
        runs = [rows for run in self._runs() if (rows := _some(run.between(from_s, to_s))) is not None]
        if any(run.summed is not None for run in runs):
            runs = [run if run.summed is not None else sums_of(run)[0] for run in runs]
        return PollRows.join(runs) if runs else None

    def fold(self, origin_s: float, cover_s: float, until_s: float) -> None:
        """Add up the bins of whole pieces of two minutes.

        Args:
            origin_s: where the step begins; pieces are counted from there, so that none reaches into another.
            cover_s: all audio from here on has been measured.
            until_s: rows after it stay as they are.
        """
        if abs(origin_s - self._origin_s) > ORIGIN_SLACK_S:
            self._origin_s = origin_s
        known_s = self._origin_s if cover_s <= self._origin_s + ORIGIN_SLACK_S else cover_s
        while (piece := self._next_piece(known_s, until_s)) is not None:
            known_s = piece + FOLD_S
            self._fold(piece, known_s)

    def forget_before(self, s: float) -> None:
        """Let go of rows that start before a time."""
        kept = [rows for part in self._parts if (rows := _some(part.between(s, np.inf))) is not None]
        self._parts = [PollRows.join([rows]) for rows in kept[:1]] + kept[1:]  # a copy: not all of it is held

    def forget_from(self, s: float) -> None:
        """Let go of rows that end after a time, and of all that was added up with one of them."""
        cut = [part.between(-np.inf, s) for part in self._parts if part.summed is None or part.end_s[-1] <= s]
        self._parts = [rows for rows in cut if len(rows.poll)]

    def _runs(self) -> list[PollRows]:
        """The parts, neighbours that are held bin by bin as one."""
        runs: list[PollRows] = []
        for summed, parts in groupby(self._parts, key=lambda part: part.summed is not None):
            together = list(parts)
            runs += together if summed or len(together) == 1 else [PollRows.join(together)]
        return runs

    def _next_piece(self, known_s: float, until_s: float) -> float | None:
        """Start of the first whole piece from a time on that can be added up."""
        if not self._parts:
            return None
        number = np.ceil((known_s - self._origin_s) / FOLD_S)
        for begin_s in np.arange(self._origin_s + FOLD_S * number, min(until_s, self.end_s) - FOLD_S, FOLD_S):
            if any(part.summed is None and self._touches(part, begin_s) for part in self._parts):
                return float(begin_s)
        return None

    @staticmethod
    def _touches(part: PollRows, begin_s: float) -> bool:
        return bool(part.end_s[-1] > begin_s and part.end_s[0] <= begin_s + FOLD_S)

    def _fold(self, begin_s: float, end_s: float) -> None:
        """Add up the rows that end within a piece; the one across its beginning is among them.

        No more than these is copied: a view holds minutes of rows, and their memory counts.
        """
        parts: list[PollRows] = []
        inside: list[PollRows] = []
        for part in self._parts:
            before, within, after = _cut(part, begin_s, end_s)
            if before is not None or after is not None:
                inside = _add_up(parts, inside)  # what was gathered so far comes first
            parts += [] if before is None else [before]
            inside += [] if within is None else [within]
            if after is not None:
                inside = _add_up(parts, inside)
                parts.append(after)
        _add_up(parts, inside)
        self._parts = parts


def _cut(
    part: PollRows, begin_s: float, end_s: float
) -> tuple[PollRows | None, PollRows | None, PollRows | None]:
    """Rows that end before, within and after a piece; what is added up already counts as before."""
    if part.summed is not None:
        return part, None, None
    first, last = np.searchsorted(part.end_s, [begin_s, end_s], side="right").tolist()
    if first == len(part.poll):
        return part, None, None
    if last == 0:
        return None, None, part
    before, within, after = (
        part.pick(slice(0, first)),
        part.pick(slice(first, last)),
        part.pick(slice(last, None)),
    )
    return _copied(before), _some(within), _copied(after)


def _add_up(parts: list[PollRows], inside: list[PollRows]) -> list[PollRows]:
    """Append rows of a piece with their band added up; returns an empty list to gather the next in."""
    if inside:
        parts.append(sums_of(PollRows.join(inside))[0])
    return []


def _copied(rows: PollRows) -> PollRows | None:
    """Rows that hold nothing of what they were cut from; None when there are none."""
    return PollRows.join([rows]) if len(rows.poll) else None


def _some(rows: PollRows) -> PollRows | None:
    return rows if len(rows.poll) else None
