"""Power cells of a session in pieces of some seconds, each worked out once."""

from __future__ import annotations

import math

from telltick.engine.spans import Span
from telltick.measure.cells import STEP_S, Cells, power_cells
from telltick.store.session import SessionReader

PIECE_S = 10 * STEP_S  # whole steps from block to block, so that pieces join
_OVERHANG_S = 0.25  # a piece's last block reaches this far into the next piece, and less than a step
_MOST_KEPT = 1000  # pieces; 24 MB


class CellStore:
    """Gives the power cells of stretches of audio and keeps the pieces they came in."""

    def __init__(self, reader: SessionReader) -> None:
        self._reader = reader
        self._kept: dict[tuple[float, int], tuple[int, Cells]] = {}

    def between(self, run: Span, span: Span) -> Cells | None:
        """Cells of a stretch of a run; None where it is too short to hold any."""
        part = span.within(run)
        numbers = range(int(part.start_s // PIECE_S), math.ceil(part.end_s / PIECE_S))
        pieces = [piece for number in numbers if len((piece := self._piece(run, number)).power)]
        if not pieces:
            return None
        joined = Cells.join(pieces)
        first = max(0, math.ceil(part.start_s * 1000) - joined.first)
        last = max(first, int(part.end_s * 1000) - joined.first)
        power = joined.power[first:last]
        return Cells(joined.first + first, power, joined.resume_s) if len(power) else None

    def _piece(self, run: Span, number: int) -> Cells:
        """Cells of the piece of that number, as far as the run holds it."""
        rate = self._reader.facts.rate_hz
        begin_s = max(run.start_s, number * PIECE_S)
        end_s = min(run.end_s, (number + 1) * PIECE_S + _OVERHANG_S)
        first, end = math.floor(begin_s * rate + 1e-6), math.ceil(end_s * rate - 1e-6)
        key = (run.start_s, number)
        known = self._kept.get(key)
        if known is not None and known[0] == end:
            return known[1]
        cells = power_cells(self._reader.audio.read(first, max(0, end - first)), first, rate)
        self._kept.pop(key, None)
        self._kept[key] = (end, cells)
        if len(self._kept) > _MOST_KEPT:
            del self._kept[next(iter(self._kept))]
        return cells
