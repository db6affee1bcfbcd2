"""In-band audio power in cells of one millisecond, for finding the latency.

The audio is cut into overlapping blocks on an absolute grid; each block is taken to the frequency domain, its
band moved down to zero frequency and brought back at three samples per millisecond: a complex envelope whose
squared magnitude is power. Steady tones stand far above their neighbours in so long a block and are cut
down to the level around them, so that hum and whistles do not hide the rhythm of the polls. What is left of
them swells towards the ends of the blocks: steps of 600 ms, three polls of five a second, would make that a
rhythm of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from telltick.measure.frames import FULL_SCALE, Powers, Samples
from telltick.model.clock import Floats
from telltick.model.readings import Band

Lines = npt.NDArray[np.complex64]

CELL_S = 0.001
_BLOCK_MS, _STEP_MS, _MARGIN_MS = 800, 587, 106  # a prime step: no usual period of polls keeps time with it
STEP_S = _STEP_MS / 1000
_TONE = 10.0  # noise exceeds ten times its median once in a thousand lines (exponential power)
_NEIGHBOURS = 40  # lines on each side that tell the level around a line: 50 Hz


@dataclass(frozen=True)
class Cells:
    """A run of cells; cell c covers audio from c to c + 1 milliseconds.

    Attributes:
        first: number of the first cell.
        power: shape (cells,), in-band power re a full-scale sine, steady tones cut down.
        resume_s: audio time from which the next piece must start.
    """

    first: int
    power: Powers
    resume_s: float

    @classmethod
    def join(cls, parts: Sequence[Cells]) -> Cells:
        """Successive runs as one.

        Raises:
            ValueError: nothing to join, or the runs do not follow each other.
        """
        filled = [part for part in parts if len(part.power)]
        if not filled:
            if not parts:
                raise ValueError("there are no cells to join")
            return parts[-1]
        if any(a.first + len(a.power) != b.first for a, b in pairwise(filled)):
            raise ValueError("the runs of cells do not follow each other")
        power = np.concatenate([part.power for part in filled])
        return cls(filled[0].first, power, parts[-1].resume_s)


def power_cells(samples: Samples, first_sample: int, rate_hz: int, band: Band | None = None) -> Cells:
    """Cells of a stretch of audio without gaps; only cells that the stretch fully determines.

    Args:
        samples: shape (n,), audio as recorded.
        first_sample: index of ``samples[0]`` in the recording.
        rate_hz: sample rate.
        band: the band to measure, 300-2700 Hz unless given.
    """
    band = band or Band()
    length = round(_BLOCK_MS * rate_hz / 1000)
    block = max(0, int(np.ceil(first_sample / rate_hz / STEP_S - 1e-9)))
    start = _start_of(block, rate_hz)
    first_cell = block * _STEP_MS + _MARGIN_MS
    out: list[Powers] = []
    while start + length <= first_sample + len(samples):
        if start >= first_sample:
            piece = samples[start - first_sample : start - first_sample + length]
            out.append(_block_cells(piece, rate_hz, band))
        block += 1
        start = _start_of(block, rate_hz)
    power = np.concatenate(out) if out else np.zeros(0, dtype=np.float32)
    return Cells(first_cell, power, max(first_sample / rate_hz, start / rate_hz - 1 / rate_hz))


def _start_of(block: int, rate_hz: int) -> int:
    """First sample of a block: the first one at or after its time."""
    return int(np.ceil(block * _STEP_MS * rate_hz / 1000 - 1e-6))


def _block_cells(samples: Samples, rate_hz: int, band: Band) -> Powers:
    """Cells of one block without its margins."""
    from scipy.fft import ifft

    line_hz = rate_hz / len(samples)
    low = max(1, round(band.low_hz / line_hz))
    high = min(len(samples) // 2, round(band.high_hz / line_hz))
    inside = _without_tones(_lines_between(samples, low, high))
    per_ms = int(np.ceil(1.25 * len(inside) / _BLOCK_MS))
    inside *= _half_step_earlier(len(inside), per_ms)
    scale = np.float32(_BLOCK_MS * per_ms / len(samples) / FULL_SCALE)
    envelope = ifft(inside, _BLOCK_MS * per_ms) * scale
    power = 4 * (envelope.real**2 + envelope.imag**2)  # a sine of amplitude A has an envelope of A / 2
    cells = power.reshape(_BLOCK_MS, per_ms).mean(axis=1, dtype=np.float32)
    return np.asarray(cells[_MARGIN_MS : _MARGIN_MS + _STEP_MS], dtype=np.float32)


def _lines_between(samples: Samples, low: int, high: int) -> Lines:
    """Lines `low` to `high` of the Fourier transform: a low band alone takes a third of the time.

    The samples are dealt out to a few shorter transforms, whose lines up to half their length are put
    together again (decimation in time: Cooley and Tukey, Math. Comp. 19, 1965).
    """
    from scipy.fft import rfft

    count = len(samples)
    parts = next((n for n in (8, 4, 2) if count % n == 0 and 2 * high < count // n), 1)
    dealt = samples.reshape(-1, parts).T.astype(np.float32, order="C")
    lines = rfft(dealt, axis=1)[:, low : high + 1]
    lines *= _turns(count, low, high, parts)
    return np.asarray(lines.sum(axis=0))


@lru_cache(maxsize=4)
def _turns(count: int, low: int, high: int, parts: int) -> Lines:
    """Shape (parts, lines): by how much each part begins later than the first."""
    later = np.multiply.outer(np.arange(parts), np.arange(low, high + 1)) / count
    turns: Lines = np.exp(-2j * np.pi * later).astype(np.complex64)
    turns.flags.writeable = False
    return turns


@lru_cache(maxsize=4)
def _half_step_earlier(lines: int, per_ms: int) -> Lines:
    """Shape (lines,): turns that put samples in the middle of their steps, so that no cell begins early."""
    turns: Lines = np.exp(1j * np.pi * np.arange(lines) / (_BLOCK_MS * per_ms)).astype(np.complex64)
    turns.flags.writeable = False
    return turns


def _without_tones(lines: Lines) -> Lines:
    power = lines.real**2 + lines.imag**2
    around = running_median(power, _NEIGHBOURS, every=16)
    excess = np.maximum(1.0, power / np.maximum(_TONE * around, 1e-30))
    return np.asarray(lines / np.sqrt(excess), dtype=np.complex64)


def running_median(values: Floats | Powers, reach: int, every: int = 1) -> Floats:
    """Median over ``2 reach + 1`` neighbours, edges mirrored; at every n-th point, linear between."""
    reach = min(reach, len(values) - 1)
    if reach < 1:
        return np.asarray(values, dtype=np.float64)
    padded = np.concatenate([values[reach:0:-1], values, values[-2 : -reach - 2 : -1]])
    shape = (len(values), 2 * reach + 1)  # every window without copying; made faster than by NumPy's own view
    windows = np.ndarray(shape, padded.dtype, padded, 0, 2 * padded.strides)[::every]
    medians = np.partition(windows, reach, axis=1)[:, reach].astype(np.float64)  # of an odd number of values
    if every == 1:
        return np.asarray(medians)
    at = np.arange(len(values))
    return np.asarray(np.interp(at, at[::every], medians))
