"""The latency of each capture run, looked for anew as the run grows."""

from __future__ import annotations

import math

from telltick.engine.cell_store import CellStore
from telltick.engine.effort import Effort, Work
from telltick.engine.gates import gate_of, poll_starts
from telltick.engine.spans import Span
from telltick.measure.latency import find_latency_in, poll_period_s, search_pieces
from telltick.model.readings import Estimate, Latency
from telltick.store.session import SessionReader

GROWN = 1.05  # a run that has grown by less is not searched again
_WHOLE_S = 300.0  # a run up to so long is searched whole
_GRID_S = 30.0  # length of a piece that is searched
_READ_SHARE = 0.5  # of a search that goes into reading the audio
_LOCKED_SCORE = 1000.0  # beyond doubt: it did not come out of a search


class RunLatencies:
    """Finds the latency of each capture run of a session."""

    def __init__(self, reader: SessionReader, cells: CellStore, locked_s: float | None = None) -> None:
        """Begin.

        Args:
            reader: the session.
            cells: its power cells.
            locked_s: the latency, where the user says it; nothing is looked for then.
        """
        self._reader, self._cells = reader, cells
        self._locked = None if locked_s is None else locked_latency(locked_s)
        self._found: dict[float, tuple[float, Latency | None]] = {}

    def of(self, run: Span, effort: Effort | None = None) -> Latency | None:
        """The latency of a run, as far as it has been recorded; None when none stands out.

        Args:
            run: the run.
            effort: told what is searched.

        Raises:
            CancelledError: the effort is to be given up.
        """
        if self._locked is not None:
            return self._locked
        if self.to_search_s(run):
            self._found[run.start_s] = (run.seconds, self._search(run, effort))
        return self._found.get(run.start_s, (0.0, None))[1]

    def to_search_s(self, run: Span) -> float:
        """Seconds of audio that will be searched for the latency of a run; 0 where it is known."""
        length_s, _ = self._found.get(run.start_s, (0.0, None))
        ended = self._reader.ending is not None
        is_due = run.seconds != length_s and (ended or run.seconds > GROWN * length_s)
        return min(run.seconds, _WHOLE_S) if is_due and self._locked is None else 0.0

    def _search(self, run: Span, effort: Effort | None) -> Latency | None:
        starts_s = poll_starts(self._reader, run)
        if not len(starts_s):
            return None
        if run.seconds <= _WHOLE_S:
            spans = [run]
        else:  # on a grid, so that a run that grows is searched in pieces that are known already
            start_s, end_s = _GRID_S * math.ceil(run.start_s / _GRID_S), _GRID_S * (run.end_s // _GRID_S)
            spans = [Span(*piece) for piece in search_pieces(starts_s, start_s, end_s)]
        period_s = poll_period_s(starts_s)
        del starts_s  # of a day or more
        pieces = []
        for span in spans:
            cells = self._cells.between(run, span)
            if cells is not None:
                pieces.append(cells)
            if effort is not None and len(spans) > 1:
                effort.done(Work.SEARCH, _READ_SHARE * span.seconds)
        latency = find_latency_in(pieces, gate_of(self._reader, spans), period_s)
        if effort is not None:
            read = _READ_SHARE if len(spans) > 1 else 0.0
            effort.done(Work.SEARCH, (1 - read) * sum(span.seconds for span in spans))
        return latency


def locked_latency(seconds: float) -> Latency:
    """A latency that the user says."""
    return Latency(Estimate(seconds, seconds, seconds), score=_LOCKED_SCORE, locked=True)
