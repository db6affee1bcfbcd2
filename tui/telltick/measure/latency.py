"""Serial time to audio time: where, within half a second, the audio answers to the bytes.

The power in 1 ms cells, flattened and clipped so that static and slow fading weigh little, is correlated with
the gate over a range of latencies. The correlation is kept apart for pieces of some seconds; their spread
says how far a peak must stand out to be believed, whatever the noise is like.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from telltick.measure.cells import CELL_S, Cells, running_median
from telltick.measure.drift import along, best_drift, grouped
from telltick.measure.gating import merged
from telltick.measure.latency_fit import Flat, filled_cells, fitted_latency
from telltick.model.clock import Floats
from telltick.model.readings import Estimate, Latency
from telltick.model.traffic import Gate

SEARCH_S = (-0.100, 0.500)
THRESHOLD = 5.0
_CLIP = 6.0
_FLATTEN_S = 0.5
_CREST = 0.6  # of a loud burst's level: bytes louder than that weigh no more
_FILLED = 0.99  # share of a cell within the bytes from which it tells their level
_MIN_PIECES = 6
_PIECE_S, _MOST_PIECES = 30.0, 10
_DRIFT_THRESHOLD = 6.5  # a search over drifts as well has more chances to be wrong
_DRIFT_LEAD = 1.0  # a drift must explain the audio this much better than a steady latency


def find_latency(cells: npt.NDArray[np.float32], first_cell: int, gate: Gate) -> Latency | None:
    """The latency at which the audio follows the gate, or None when none stands out.

    Args:
        cells: shape (n,), in-band power of 1 ms cells.
        first_cell: number of the first one; cell c covers audio from c to c + 1 ms.
        gate: bursts in serial time, no latency applied.
    """
    flat = _flat(cells, first_cell)
    found = _latency_of(_maps_of(flat, gate), poll_period_s(gate.poll_start_s))
    return found and _sharpened(found, [flat], gate)


def find_latency_in(pieces: Sequence[Cells], gate: Gate, period_s: float | None = None) -> Latency | None:
    """The latency, and its drift where the pieces reach far enough, from several pieces of a long recording.

    Args:
        pieces: power cells of the pieces that `search_pieces` proposes, in order.
        gate: bursts in serial time in and around these pieces, no latency applied.
        period_s: of the polls, as `poll_period_s` tells it of the whole recording; that of the gate's unless
            given.
    """
    flat = [_flat(piece.power, piece.first) for piece in pieces]
    maps, at_s = _timed_maps(flat, gate)
    if len(maps) < _MIN_PIECES:
        return None
    middle_s = float((at_s[0] + at_s[-1]) / 2)
    drift = best_drift(*grouped(maps, at_s), middle_s, CELL_S)
    period_s = poll_period_s(gate.poll_start_s) if period_s is None else period_s
    steady, (_, steady_score) = _latency_of(maps, period_s), _top_and_score(maps)
    drifting = along(maps, 1e-6 * drift.ppm * (at_s - middle_s) / CELL_S)
    _, score = _top_and_score(drifting)
    if not drift.known or (steady is not None and score < steady_score + _DRIFT_LEAD):
        return steady and _sharpened(steady, flat, gate)
    found = _latency_of(drifting, period_s, _DRIFT_THRESHOLD)
    return found and _sharpened(replace(found, drift_ppm=drift.ppm, at_s=middle_s), flat, gate)


def poll_period_s(poll_start_s: Floats) -> float | None:
    """Median time from poll to poll; None with fewer than three."""
    return None if len(poll_start_s) < 3 else float(np.median(np.diff(poll_start_s)))


def search_pieces(poll_start_s: Floats, start_s: float, end_s: float) -> list[tuple[float, float]]:
    """Which stretches of a recording to search for the latency: ten half minutes rich in polls, well spread.

    An hour need not be searched whole: after five minutes of polls the latency is known far better than the
    guard around the bursts needs, and drift shows best over a wide span.

    Args:
        poll_start_s: shape (polls,), when each poll starts in serial time.
        start_s: start of the capture run in seconds of audio.
        end_s: its end.

    Returns:
        (start, end) in seconds of audio, in order, never overlapping.
    """
    count = max(1, int((end_s - start_s) / _PIECE_S))
    if count <= _MOST_PIECES:
        return [(start_s, end_s)]
    edges = start_s + (end_s - start_s) * np.arange(count + 1) / count
    polls, _ = np.histogram(poll_start_s, edges)
    rich = np.flatnonzero(polls >= max(1, 0.5 * polls.max()))
    if not len(rich):
        rich = np.arange(count)
    picks = rich[np.unique(np.rint(np.linspace(0, len(rich) - 1, _MOST_PIECES)).astype(int))]
    return [(float(edges[k]), float(edges[k + 1])) for k in picks]


def _sharpened(found: Latency, flat: Sequence[Flat], gate: Gate) -> Latency:
    """The latency from the mean shape of the polls, as sharp as that allows.

    Cells are clipped near the level of loud bursts, so that static and the loudest bytes weigh little.
    """
    clip = max(_CLIP, _CREST * _level_within(found, flat, gate))
    clipped = [Flat(piece.first, np.minimum(piece.power, clip)) for piece in flat]
    seconds = fitted_latency(found, clipped, gate)
    return found if seconds is None else replace(found, seconds=seconds)


def _level_within(found: Latency, pieces: Sequence[Flat], gate: Gate) -> float:
    """Median flattened power while bytes flow."""
    moved = gate.shifted(found.shift_s(gate.start_s))
    filled = [_gate_cells(moved, piece.first, len(piece.power)) > _FILLED for piece in pieces]
    level = np.concatenate([piece.power[one] for piece, one in zip(pieces, filled, strict=True)])
    return float(np.median(level)) if len(level) else 0.0


def _timed_maps(pieces: Sequence[Flat], gate: Gate) -> tuple[Floats, Floats]:
    """Maps of all pieces and the time of each."""
    maps = [_maps_of(piece, gate) for piece in pieces]
    at_s = [
        CELL_S * (piece.first + len(piece.power) * (np.arange(len(found)) + 0.5) / max(len(found), 1))
        for piece, found in zip(pieces, maps, strict=True)
    ]
    if not maps:
        return np.zeros((0, len(search_lags_s()))), np.zeros(0)
    return np.concatenate(maps), np.concatenate(at_s)


def _top_and_score(maps: Floats) -> tuple[int, float]:
    """Highest lag of the summed map, and how many standard deviations it stands out."""
    total = maps.sum(axis=0)
    spread = np.sqrt(np.mean(maps.var(axis=0, ddof=1)) * len(maps))
    best = int(np.argmax(total))
    return best, float((total[best] - np.median(total)) / spread)


def _latency_of(maps: Floats, period_s: float | None, threshold: float = THRESHOLD) -> Latency | None:
    if len(maps) < _MIN_PIECES:
        return None
    best, score = _top_and_score(maps)
    if score < threshold:
        return None
    seconds, error = _peak_with_error(search_lags_s(), maps)
    modulo_s = period_s if period_s is not None and _is_ambiguous(maps, best, period_s) else None
    if modulo_s is not None:
        seconds = _smallest(seconds, modulo_s)
    return Latency(Estimate(seconds, seconds - 2 * error, seconds + 2 * error), None, modulo_s, score)


def search_lags_s() -> Floats:
    """Shape (lags,): the latencies tried, every millisecond."""
    first, last = (round(edge / CELL_S) for edge in SEARCH_S)
    return np.asarray(np.arange(first, last + 1) * CELL_S, dtype=np.float64)


def flattened(cells: npt.NDArray[np.float32], clip: float = _CLIP) -> Floats:
    """Power over its running median (half a second to each side), clipped."""
    coarse = 20
    count = len(cells) // coarse
    if count < 2:
        return np.ones(len(cells))
    means = cells[: count * coarse].reshape(count, coarse).mean(axis=1, dtype=np.float64)
    level = running_median(means, round(_FLATTEN_S / CELL_S / coarse))
    at = (np.arange(count) + 0.5) * coarse
    smooth = np.interp(np.arange(len(cells)), at, level)
    return np.minimum(cells / np.maximum(smooth, 1e-30), clip)


def latency_maps(cells: npt.NDArray[np.float32], first_cell: int, gate: Gate) -> Floats:
    """Mean flattened power while bytes flow, less its mean, for each latency and each piece of time.

    Returns:
        shape (pieces, lags); pieces without polls are left out.
    """
    return _maps_of(_flat(cells, first_cell), gate)


def _flat(cells: npt.NDArray[np.float32], first_cell: int) -> Flat:
    return Flat(first_cell, flattened(cells, np.inf))


def _maps_of(piece: Flat, gate: Gate) -> Floats:
    lags = np.rint(search_lags_s() / CELL_S).astype(int)
    usable = len(piece.power) - (lags[-1] - lags[0])
    if usable < 1000 or not gate.polls:
        return np.zeros((0, len(lags)))
    length = int(np.clip(usable / 24, 500, 10_000))
    count = usable // length
    flat = np.minimum(piece.power, _CLIP)
    share = _gate_cells(gate, piece.first - lags[0], count * length).reshape(count, length)
    size = 1 << int(np.ceil(np.log2(length + len(lags))))
    maps = np.empty((count, len(lags)))
    for index in range(count):  # one piece at a time bounds memory
        heard = flat[index * length : index * length + length + len(lags) - 1]
        spectrum = np.fft.rfft(heard - heard.mean(), size) * np.conj(np.fft.rfft(share[index], size))
        maps[index] = np.fft.irfft(spectrum, size)[: len(lags)]
    weight = share.sum(axis=1)
    has = weight > 0.25 * np.median(weight[weight > 0]) if np.any(weight > 0) else weight > 0
    return np.asarray(maps[has] / weight[has, None])


def _gate_cells(gate: Gate, first_cell: int, count: int) -> Floats:
    """Share of each cell during which bytes flow."""
    start_s, end_s = merged(gate.start_s, gate.end_s)
    return filled_cells(first_cell, count, 1, (start_s / CELL_S, end_s / CELL_S))


def _peak_with_error(lags_s: Floats, maps: Floats) -> tuple[float, float]:
    """Top of the summed map by parabola, with the spread of the delete-one-group jackknife."""
    smooth = np.array([np.convolve(m, _SMOOTH, mode="same") for m in _groups(maps, 12)])
    total = smooth.sum(axis=0)
    best = _top(lags_s, total)
    without = np.array([_top(lags_s, total - part) for part in smooth])
    near = without[np.abs(without - best) < 0.02]
    spread = np.sqrt((len(near) - 1) / max(len(near), 1) * np.sum((near - near.mean()) ** 2))
    return best, float(np.hypot(spread, 0.0002))


_SMOOTH = np.array([1.0, 2.0, 3.0, 2.0, 1.0]) / 9


def _groups(maps: Floats, count: int) -> Floats:
    edges = np.linspace(0, len(maps), min(count, len(maps)) + 1).astype(int)
    return np.add.reduceat(maps, edges[:-1], axis=0)


def _top(lags_s: Floats, curve: Floats) -> float:
    best = int(np.argmax(curve))
    if not 0 < best < len(curve) - 1:
        return float(lags_s[best])
    left, top, right = curve[best - 1 : best + 2]
    bend = left - 2 * top + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return float(lags_s[best] + shift * CELL_S)


def _is_ambiguous(maps: Floats, best: int, period_s: float) -> bool:
    """Does a latency one poll period away, or a few, fit as well as the best one?"""
    lags = maps.shape[1]
    reach = 12
    rivals = [best + k * round(period_s / CELL_S) for k in (-3, -2, -1, 1, 2, 3)]
    for rival in rivals:
        low, high = max(rival - reach, 0), min(rival + reach + 1, lags)
        if high - low < reach:
            continue
        at = low + int(np.argmax(maps[:, low:high].sum(axis=0)))
        lead = maps[:, best] - maps[:, at]
        if lead.sum() < 3 * np.sqrt(len(maps)) * lead.std(ddof=1):
            return True
    return False


def _smallest(seconds: float, period_s: float) -> float:
    """The latency of least size among those a period apart, but at most 20 ms before the bytes."""
    return float((seconds + 0.020) % period_s - 0.020)
