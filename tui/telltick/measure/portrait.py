"""The portrait of a poll: how loud the audio is around it, and which of its bytes carry the interference.

The curve is the mean power around the polls, over the noise floor, with a jackknife band. Who carries it is
told by shape: the audio is matched with five gates (request alone, reply alone, both, the turn-around between
them, request to end of reply), each at the latency that suits it best, since the latency itself was found
with one of them. One gate must match better than every other by three standard errors, and by 4 % where
the other needs another latency; else nothing is claimed.
"""

from __future__ import annotations

import numpy as np

from telltick.measure.cells import CELL_S
from telltick.measure.frames import Powers
from telltick.measure.gating import GUARD_S, merged, touches
from telltick.measure.latency import flattened, latency_maps, search_lags_s
from telltick.measure.robust import student_t
from telltick.model.characteristics import Carrier, Portrait
from telltick.model.clock import Floats
from telltick.model.readings import Latency
from telltick.model.traffic import Gate

BEFORE_S, AFTER_S = 0.030, 0.060
SURE = 3.0  # standard errors by which the best gate must lead
_LOCKED_REACH_S = 0.004
_FREE_REACH_S = 0.150
_SAME_LATENCY_S = 0.005
_ELSEWHERE_MARGIN = 0.04  # lags are tried every millisecond: a match may come out this much too low
_MIN_POLLS = 20
_BLOCKS = 20
_CRASH = 100.0  # power over the floor beyond which a cell is a crash, not a poll: 20 dB


def portrait(
    cells: Powers, first_cell: int, gate: Gate, latency: Latency, *, locked: bool = False
) -> Portrait | None:
    """The portrait of the polls in a stretch of audio; None with fewer than twenty.

    Args:
        cells: shape (n,), in-band power of 1 ms cells.
        first_cell: number of the first one.
        gate: bursts in serial time, no latency applied.
        latency: the latency found.
        locked: the latency is known from elsewhere, so that a shape that fits only at another one is wrong.
    """
    flat = flattened(cells, clip=_CRASH)
    heard = gate.shifted(latency.shift_s(gate.start_s))
    before, after = round(BEFORE_S / CELL_S), round(AFTER_S / CELL_S)
    span_s = float(np.median(heard.poll_end_s - heard.poll_start_s)) if heard.polls else 0.0
    after += round(span_s / CELL_S)
    start = np.rint(heard.poll_start_s / CELL_S).astype(int) - first_cell
    start = start[(start >= before) & (start + after <= len(flat))]
    if len(start) < _MIN_POLLS:
        return None
    around = flat[start[:, None] + np.arange(-before, after)] / _floor(flat, first_cell, heard)
    ratio, low, high = _banded(around)
    carrier, lead = carrier_of(cells, first_cell, gate, latency, locked=locked)
    request, reply = _lengths(gate)
    at_s = np.asarray(np.arange(-before, after) * CELL_S, dtype=np.float64)
    return Portrait(at_s, ratio, low, high, request, reply, carrier, lead, len(start))


def carrier_of(
    cells: Powers, first_cell: int, gate: Gate, latency: Latency, *, locked: bool = False
) -> tuple[Carrier, float]:
    """Which bytes carry the interference, and by how many standard errors that leads."""
    shapes = {kind: part for kind, part in _shapes(gate).items() if part.polls}
    lags_s = search_lags_s()
    reach_s = _LOCKED_REACH_S if locked else _FREE_REACH_S
    near = np.abs(lags_s - latency.seconds.value) <= reach_s
    matches: dict[Carrier, Floats] = {}
    best_lag_s: dict[Carrier, float] = {}
    for kind, part in shapes.items():
        maps = latency_maps(cells, first_cell, part)[:, near]
        if not len(maps):
            continue
        duty = float(np.sum(part.end_s - part.start_s)) / (len(cells) * CELL_S)
        best = int(np.argmax(maps.sum(axis=0)))
        best_lag_s[kind] = float(lags_s[near][best])
        matches[kind] = maps[:, best] * np.sqrt(duty * max(1 - duty, 0.0))  # of a matched filter, per second
    if len(matches) < 2 or len({len(match) for match in matches.values()}) != 1:
        return Carrier.UNKNOWN, 0.0
    first = max(matches, key=lambda kind: float(matches[kind].sum()))
    leads = []
    for kind in matches.keys() - {first}:
        elsewhere = abs(best_lag_s[kind] - best_lag_s[first]) > _SAME_LATENCY_S
        claim = matches[first] * (1 - _ELSEWHERE_MARGIN * elsewhere)
        leads.append(_lead(claim - matches[kind]))
    lead = min(leads)
    return (first if lead >= SURE else Carrier.UNKNOWN), lead


def _lead(differences: Floats) -> float:
    """Sum of differences over pieces, in its standard errors."""
    spread = float(differences.std(ddof=1)) if len(differences) > 1 else np.inf
    return float(differences.sum() / max(np.sqrt(len(differences)) * spread, 1e-12))


def _shapes(gate: Gate) -> dict[Carrier, Gate]:
    """Gates of the parts of polls; of polls with request and reply only."""
    both = np.flatnonzero(np.bincount(gate.poll[gate.rx], minlength=gate.polls) > 0)
    pairs = gate.rx & np.isin(gate.poll, both)
    starts, ends, request_end = gate.poll_start_s[both], gate.poll_end_s[both], np.zeros(len(both))
    asked = ~gate.rx & np.isin(gate.poll, both)
    row = np.searchsorted(both, gate.poll)
    np.maximum.at(request_end, row[asked], gate.end_s[asked])
    answered = np.full(len(both), np.inf)
    np.minimum.at(answered, row[pairs], gate.start_s[pairs])
    whole = answered > request_end
    starts, ends, request_end, answered = (a[whole] for a in (starts, ends, request_end, answered))
    return {
        Carrier.REQUEST: _gate(starts, request_end),
        Carrier.REPLY: _gate(answered, ends),
        Carrier.BYTES: _gate(np.stack([starts, answered], axis=1), np.stack([request_end, ends], axis=1)),
        Carrier.TURNAROUND: _gate(request_end, answered),
        Carrier.WHOLE: _gate(starts, ends),
    }


def _gate(start_s: Floats, end_s: Floats) -> Gate:
    """One burst, or a row of bursts, for each poll."""
    polls = np.arange(len(start_s))
    poll = np.repeat(polls, start_s.shape[1]) if start_s.ndim > 1 else polls
    return Gate(start_s.ravel(), end_s.ravel(), np.zeros(start_s.size, dtype=bool), poll.astype(np.int64))


def _floor(flat: Floats, first_cell: int, heard: Gate) -> float:
    """Mean of flattened power clear of the polls."""
    from_s = np.asarray((first_cell + np.arange(len(flat))) * CELL_S, dtype=np.float64)
    polls = merged(heard.poll_start_s - GUARD_S, heard.poll_end_s + GUARD_S)
    quiet = flat[~touches(from_s, from_s + CELL_S, *polls)]
    return float(quiet.mean()) if len(quiet) else 1.0


def _banded(around: Floats) -> tuple[Floats, Floats, Floats]:
    """Mean over polls and its 95 % band from the spread between blocks of polls."""
    edges = np.linspace(0, len(around), min(_BLOCKS, len(around)) + 1).astype(int)
    sums = np.add.reduceat(around, edges[:-1], axis=0) / np.diff(edges)[:, None]
    mean = around.mean(axis=0)
    error = sums.std(axis=0, ddof=1) / np.sqrt(len(sums))
    half = student_t(0.975, len(sums) - 1) * error
    return mean, mean - half, mean + half


def _lengths(gate: Gate) -> tuple[float, tuple[float, float] | None]:
    """Median length of requests; median start and end of replies after the start of the request."""
    asked = ~gate.rx
    request = float(np.median(gate.end_s[asked] - gate.start_s[asked])) if asked.any() else 0.0
    if not gate.rx.any():
        return request, None
    began = gate.poll_start_s[gate.poll[gate.rx]]
    start, end = np.median(gate.start_s[gate.rx] - began), np.median(gate.end_s[gate.rx] - began)
    return request, (float(start), float(end))
