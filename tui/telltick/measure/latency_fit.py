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
from functools import lru_cache
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
_COARSE = 4  # of which one in so many is tried first: no peak is narrower than the cells
_NEGLIGIBLE = 14.0  # log likelihood lost against the best: one in a million
_ENOUGH = 1e30  # beyond any square of what is off over its error
_OUTWARDS_MS, _INWARDS_MS = 16, 20
_NEAR_MS = 3.0  # standard deviation expected of the search
_STEP_MS = 0.5  # its middles, too, lie on whole quarters of a millisecond from those of the cells
_JITTER_MS = (0.7, 2.0)
_BLUR_REACH_MS = 64.0  # beyond the farthest step from a cell, and 8 ms of latency
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
        step_ms: shape (steps,), middle of each step of the gate that holds bytes of any poll.
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
    p = _likelihoods([_Likelihood(edge, level, *quiet) for edge in edges])
    mean_ms = float(p @ _TRIED_MS)
    spread_s = CELL_S * float(np.sqrt(p @ (_TRIED_MS - mean_ms) ** 2))
    seconds, error = found.seconds.value + CELL_S * mean_ms, float(np.hypot(spread_s, _RESOLVED_S))
    return Estimate(seconds, seconds - 2 * error, seconds + 2 * error)


def _quiet(pieces: Sequence[Flat], bursts_ms: _Bursts) -> tuple[float, Floats] | None:
    """Mean of the quiet, and its autocovariance, shape (lags,); None where there is too little quiet."""
    lags = _OUTWARDS_MS + _INWARDS_MS
    clear = []
    for piece in pieces:
        first, length = piece.first - _CLEAR_CELLS, 2 * _CLEAR_CELLS + 1
        clear.append(filled_cells(first, len(piece.power), length, bursts_ms) == 0)
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
    some, count = filled > 0, max(len(begin), 1)
    at_ms = (cells + 0.5).astype(np.float64)
    return _Edge(at_ms, total / count, len(begin), step_ms[some] + _STEP_MS / 2, filled[some] / count)


def _likelihoods(edges: Sequence[_Likelihood]) -> Floats:
    """Shape (latencies,): how likely each of `_TRIED` is by all edges together; they add up to one.

    Most lie far from the peak of strong interference, and need not be worked out.
    """
    log_p = np.full((len(_UNEVEN_MS), len(_JITTER_MS), len(_TRIED)), -np.inf)

    def work_out(places: Ints) -> None:
        expected = -(_TRIED_MS[places] ** 2) / (2 * _NEAR_MS**2)
        log_p[..., places] = sum(edge.log_likelihood(_TRIED[places]) for edge in edges) + expected

    coarse = np.arange(0, len(_TRIED), _COARSE)
    work_out(coarse)
    best = log_p[..., coarse].max(axis=(0, 1))
    near = coarse[best > best.max() - _NEGLIGIBLE]
    around = np.unique(near[:, None] + np.arange(1 - _COARSE, _COARSE))
    work_out(around[(around >= 0) & (around < len(_TRIED)) & (around % _COARSE > 0)])
    p = np.exp(log_p - log_p.max()).sum(axis=(0, 1))
    return np.asarray(p / p.sum())


class _Likelihood:
    """How likely latencies are by the polls' starts alone, or by their ends."""

    def __init__(self, edge: _Edge, level: float, quiet: float, covariance: Floats) -> None:
        """Work out what all latencies share.

        Args:
            edge: the starts, or the ends.
            level: s, mean power while bytes flow, less that of the quiet.
            quiet: b, mean power of the quiet.
            covariance: of the quiet, shape (lags,).
        """
        cells = len(edge.at_ms)
        apart = np.abs(np.subtract.outer(np.arange(cells), np.arange(cells)))
        loud = np.sqrt(np.maximum(edge.mean / max(quiet, 1e-9), 1.0))
        noise = covariance[apart] * np.outer(loud, loud) / edge.count
        self._noise = noise + (_OFF * level) ** 2 * (np.eye(cells) + _COMMON)
        self._rise, self._level, self._filled = edge.mean - quiet, level, edge.filled
        self._places = _places(edge)

    def log_likelihood(self, tried: Ints) -> Floats:
        """Shape (q, blurs, latencies)."""
        out = np.empty((len(_UNEVEN_MS), len(_JITTER_MS), len(tried)))
        for index, fine in enumerate(tried.tolist()):
            places = self._places - fine
            for blur, jitter_ms in enumerate(_JITTER_MS):
                out[:, blur, index] = self._of_one(_blur_table(jitter_ms)[places])
        return out

    def _of_one(self, kernel: Floats) -> Floats:
        """Shape (q,), from K of one latency.

        The Cholesky root of a covariance with what is off as one more row has there what solving for it
        gives.
        """
        joint = np.full((len(_UNEVEN_MS), len(kernel) + 1, len(kernel) + 1), _ENOUGH)
        joint[:, -1, :-1] = self._rise - self._level * (kernel @ self._filled)
        kernel *= self._filled * (self._level / _STEP_MS**0.5)
        np.multiply.outer(_UNEVEN_MS, kernel @ kernel.T, out=joint[:, :-1, :-1])
        joint[:, :-1, :-1] += self._noise
        root = np.linalg.cholesky(joint)
        size = np.log(np.diagonal(root, axis1=1, axis2=2)[:, :-1]).sum(axis=1)
        return np.asarray(-0.5 * (root[:, -1, :-1] ** 2).sum(axis=1) - size)


def _places(edge: _Edge) -> Ints:
    """Shape (cells, steps): where each distance stands in `_blur_table` when nothing is late.

    Each `_FINE_MS` of lateness is a place less.
    """
    away_ms = np.subtract.outer(edge.at_ms, edge.step_ms)
    return np.asarray(np.rint((away_ms + _BLUR_REACH_MS) / _FINE_MS), dtype=np.int64)


@lru_cache(maxsize=len(_JITTER_MS))
def _blur_table(jitter_ms: float) -> Floats:
    """Share of a step's power that a cell hears, by how much later it lies: from -64 to 64 ms."""
    half = 0.5 / (np.sqrt(2) * jitter_ms)
    places = np.arange(2 * round(_BLUR_REACH_MS / _FINE_MS) + 1)
    scaled = (places * _FINE_MS - _BLUR_REACH_MS) / (np.sqrt(2) * jitter_ms)
    heard = [0.5 * _STEP_MS * (erf(at + half) - erf(at - half)) for at in scaled.tolist()]
    return np.array(heard)


def filled_ms(from_ms: Floats, length_ms: float, bursts_ms: _Bursts) -> Floats:
    """Share of each stretch of a length during which bytes flow; bursts do not overlap."""
    filled = _until(from_ms + length_ms, bursts_ms) - _until(from_ms, bursts_ms)
    return np.asarray(filled / length_ms)


def filled_cells(first: int, count: int, length: int, bursts_ms: _Bursts) -> Floats:
    """The same of stretches of `length` cells that begin at `count` successive cells."""
    until = _until(first + np.arange(count + length, dtype=np.float64), bursts_ms)
    return np.asarray((until[length:] - until[:-length]) / length)


def _until(at_ms: Floats, bursts_ms: _Bursts) -> Floats:
    """For how long bytes flow before some times."""
    start, end = bursts_ms
    if not len(start):
        return np.zeros(at_ms.shape)
    total = np.repeat(np.concatenate([[0.0], np.cumsum(end - start)]), 2)[1:-1]
    return np.asarray(np.interp(at_ms, np.stack([start, end], axis=1).ravel(), total))
