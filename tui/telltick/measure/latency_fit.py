"""The latency once more, from the mean shape of the polls: as sharp as their edges and the noise allow.

A search by correlation takes bursts to be as loud all through as they are anywhere. They are not: it is the
bytes that are heard, and of fast ones little more than the ends. Its peak then strays by some milliseconds.
What is sure is that nothing is heard where no bytes are. Let m be the mean power of cells around all starts
of polls, or all ends, flattened, and g(u) how often bytes flow at the time u from there. Were the latency tau
later than it was found, m would be Gaussian with

    mean b + s K g,    covariance q s^2 K diag(g^2) K' + R,    K(t, u) = blur(t - u - tau),

b the mean of the quiet, s the mean power while bytes flow, less b; q how uneven the bursts are, as the
variance of white noise of power times the time over which it is correlated; blur the timing jitter; and R
the scatter of the quiet over the number of polls. The latency is the mean of its likelihood, which is summed
over some q and blurs (Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, equation 2.30).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import erf

import numpy as np

from telltick.measure.cells import CELL_S
from telltick.measure.gating import merged
from telltick.model.clock import Floats
from telltick.model.readings import Estimate, Latency
from telltick.model.traffic import Gate, Ints

_FINE_MS = 0.25
_TRIED = np.arange(-32, 33)
_TRIED_MS = _TRIED * _FINE_MS
_FEW_TRIED = [slice(k, k + 5) for k in range(0, len(_TRIED), 5)]  # at once: a live view has little memory
_ENOUGH = 1e30  # beyond any square of what is off over its error
_OUTWARDS_MS, _INWARDS_MS = 16, 20
_NEAR_MS = 3.0  # standard deviation expected of the search
_STEP_MS = 0.5  # its middles, too, lie on whole quarters of a millisecond from those of the cells
_JITTER_MS = (0.7, 2.0)
_UNEVEN_MS = (0.1, 0.4, 1.6, 6.4, 25.6)  # q: 0.4 ms is that of noise 2.4 kHz wide
_OFF = 0.03  # of the level: what the model is off by in a cell
_COMMON = 0.3  # the share of that which all cells have alike
_CLEAR_CELLS = 12  # quiet cells keep so far away from the bytes
_LEAST_QUIET = 0.05  # share of the cells
_LEAST_POLLS = 8
_RESOLVED_S = 0.0002
_Bursts = tuple[Floats, Floats]  # starts and ends, none of which overlap


@dataclass(frozen=True)
class Flat:
    """Cells of a stretch, flattened and clipped; cell `first` is the first one."""

    first: int
    power: Floats


@dataclass(frozen=True)
class _Edge:
    """Mean power around the starts of all polls, or around all ends.

    Attributes:
        at_ms: shape (cells,), middle of each cell, from the edge's millisecond.
        mean: shape (cells,), mean power.
        count: number of polls.
        step_ms: shape (steps,), middle of each step of the gate.
        filled: shape (steps,), share of it during which bytes flow, over all polls.
    """

    at_ms: Floats
    mean: Floats
    count: int
    step_ms: Floats
    filled: Floats


def fitted_latency(found: Latency, pieces: Sequence[Flat], gate: Gate) -> Estimate | None:
    """The latency near the one found, or None where quiet or polls are too few.

    Args:
        found: by the search, right within some milliseconds.
        pieces: cells.
        gate: bursts in serial time, no latency applied.
    """
    moved = gate.shifted(found.shift_s(gate.start_s))
    start_s, end_s = merged(moved.start_s, moved.end_s)
    bursts_ms = start_s / CELL_S, end_s / CELL_S
    quiet = _quiet(pieces, bursts_ms)
    if quiet is None:
        return None
    inwards = min(_INWARDS_MS, int(np.median(moved.poll_end_s - moved.poll_start_s) / CELL_S / 2) + 1)
    edges = [
        _edge_of(moved.poll_start_s / CELL_S, np.arange(-_OUTWARDS_MS, inwards), pieces, bursts_ms),
        _edge_of(moved.poll_end_s / CELL_S, np.arange(-inwards, _OUTWARDS_MS), pieces, bursts_ms),
    ]
    if min(edge.count for edge in edges) < _LEAST_POLLS:
        return None
    heard = sum(float((edge.mean - quiet[0]).sum()) for edge in edges)
    level = heard / (_STEP_MS * sum(float(edge.filled.sum()) for edge in edges))
    if not level > 0:
        return None
    likelihood = np.add(*(_log_likelihood(edge, level, *quiet) for edge in edges))
    p = np.exp(likelihood - likelihood.max() - _TRIED_MS**2 / (2 * _NEAR_MS**2)).sum(axis=(0, 1))
    p /= p.sum()
    mean_ms = float(p @ _TRIED_MS)
    spread_s = CELL_S * float(np.sqrt(p @ (_TRIED_MS - mean_ms) ** 2))
    seconds, error = found.seconds.value + CELL_S * mean_ms, float(np.hypot(spread_s, _RESOLVED_S))
    return Estimate(seconds, seconds - 2 * error, seconds + 2 * error)


def _quiet(pieces: Sequence[Flat], bursts_ms: _Bursts) -> tuple[float, Floats] | None:
    """Mean of the quiet, and its autocovariance, shape (lags,); None where there is too little quiet."""
    lags = _OUTWARDS_MS + _INWARDS_MS
    clear = []
    for piece in pieces:
        start = np.arange(len(piece.power), dtype=np.float64) + (piece.first - _CLEAR_CELLS)
        clear.append(filled_ms(start, 2 * _CLEAR_CELLS + 1.0, bursts_ms) == 0)
    count = sum(int(one.sum()) for one in clear)
    if count < max(_LEAST_QUIET * sum(len(piece.power) for piece in pieces), 20 * lags):
        return None
    mean = sum(float(piece.power[one].sum()) for piece, one in zip(pieces, clear, strict=True)) / count
    products = np.zeros(lags)
    for piece, one in zip(pieces, clear, strict=True):
        if len(one) < lags:
            continue
        off = np.where(one, piece.power - mean, 0.0)
        products += [off[: len(off) - lag] @ off[lag:] for lag in range(lags)]
    return mean, products / count  # over all cells at every lag: the matrix made of it is then a covariance


def _edge_of(edge_ms: Floats, cells: Ints, pieces: Sequence[Flat], bursts_ms: _Bursts) -> _Edge:
    """Around one edge per poll, of those polls whose cells are all there."""
    total, begun = np.zeros(len(cells)), [np.zeros(0, dtype=np.int64)]
    for piece in pieces:
        begin = np.floor(edge_ms).astype(np.int64)
        first = begin - piece.first
        begin = begin[(first + cells[0] >= 0) & (first + cells[-1] < len(piece.power))]
        total += piece.power[(begin - piece.first)[:, None] + cells].sum(axis=0)
        begun.append(begin)
    begin = np.concatenate(begun)
    step_ms = np.arange(cells[0] - 12, cells[-1] + 13, _STEP_MS, dtype=np.float64)
    from_ms = begin[:, None].astype(np.float64) + step_ms
    filled = filled_ms(from_ms, _STEP_MS, bursts_ms).sum(axis=0)
    count = max(len(begin), 1)
    return _Edge(
        (cells + 0.5).astype(np.float64), total / count, len(begin), step_ms + _STEP_MS / 2, filled / count
    )


def _log_likelihood(edge: _Edge, level: float, quiet: float, covariance: Floats) -> Floats:
    """Shape (q, blurs, latencies).

    The Cholesky root of a covariance with what is off as one more row has there what solving for it gives.
    """
    cells = len(edge.at_ms)
    apart = np.abs(np.subtract.outer(np.arange(cells), np.arange(cells)))
    loud = np.sqrt(np.maximum(edge.mean / max(quiet, 1e-9), 1.0))
    noise = covariance[apart] * np.outer(loud, loud) / edge.count
    noise += (_OFF * level) ** 2 * (np.eye(cells) + _COMMON)
    out = np.empty((len(_UNEVEN_MS), len(_JITTER_MS), len(_TRIED_MS)))
    for blur, jitter_ms in enumerate(_JITTER_MS):
        table, place = _blurred(edge, jitter_ms)
        for some in _FEW_TRIED:
            kernel = table[place - _TRIED[some, None, None]]
            joint = np.full((len(kernel), cells + 1, cells + 1), _ENOUGH)
            joint[:, -1, :-1] = edge.mean - quiet - level * (kernel @ edge.filled)
            kernel *= edge.filled
            uneven = kernel @ kernel.transpose(0, 2, 1) / _STEP_MS
            for index, q in enumerate(_UNEVEN_MS):
                joint[:, :-1, :-1] = q * level**2 * uneven + noise
                root = np.linalg.cholesky(joint)
                size = np.log(np.diagonal(root, axis1=1, axis2=2)[:, :-1]).sum(axis=1)
                out[index, blur, some] = -0.5 * (root[:, -1, :-1] ** 2).sum(axis=1) - size
    return out


def _blurred(edge: _Edge, jitter_ms: float) -> tuple[Floats, Ints]:
    """Share of a step's power that a cell hears, by how far apart they are; and that, shape (cells, steps).

    Distances are places in the table when nothing is late; each `_FINE_MS` of lateness is a place less.
    """
    away = np.rint(np.subtract.outer(edge.at_ms, edge.step_ms) / _FINE_MS).astype(np.int64)
    least, most = int(away.min() - _TRIED[-1]), int(away.max() - _TRIED[0])
    half = 0.5 / (np.sqrt(2) * jitter_ms)
    scaled = np.arange(least, most + 1) * (_FINE_MS / (np.sqrt(2) * jitter_ms))
    heard = [0.5 * _STEP_MS * (erf(at + half) - erf(at - half)) for at in scaled.tolist()]
    return np.array(heard), np.asarray(away - least)


def filled_ms(from_ms: Floats, length_ms: float, bursts_ms: _Bursts) -> Floats:
    """Share of each stretch of a length during which bytes flow; bursts do not overlap."""
    start, end = bursts_ms
    before = np.concatenate([[0.0], np.cumsum(end - start)])

    def until(at: Floats) -> Floats:
        begun = np.searchsorted(start, at, side="right")
        return before[begun] - np.maximum(0.0, np.append(-np.inf, end)[begun] - at)

    return np.asarray((until(from_ms + length_ms) - until(from_ms)) / length_ms)
