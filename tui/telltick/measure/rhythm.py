"""Gating by a rhythm found in the audio, where there is no serial traffic to gate by.

The power over time, laid on itself period by period (epoch folding, Leahy et al. 1983), shows at which part
of the period it is loud. A gate that opens there each period stands in for the bytes: the excess is then
measured as usual, but it is that of a rhythm, not shown to be polling.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from telltick.measure.reading import STEADY, take_reading
from telltick.measure.rows import PollRows
from telltick.model.characteristics import Period
from telltick.model.clock import Floats
from telltick.model.readings import Estimate, Latency, Reading, Verdict
from telltick.model.traffic import Gate, Ints

NOT_SHOWN = "Gated by a rhythm found in the audio, not by bytes: not shown to be polling."
_SHORTEST_S = 0.004
_MOST_SHARE = 0.6  # of the period; a longer loud part is better told as a pause
_FALLBACK_S = 0.030


def gate_of_period(period: Period, start_s: float, end_s: float, *, on_s: float | None = None) -> Gate:
    """A gate that opens once in each period, where the beat is loud; one poll without bytes for each.

    Args:
        period: the rhythm, found in audio that includes this stretch.
        start_s: start of the stretch, in seconds of audio.
        end_s: its end.
        on_s: how long the gate stays open; what the beat itself shows unless given.

    Raises:
        ValueError: the gate would never close.
    """
    on_s = on_s if on_s is not None else period.on_s or _FALLBACK_S
    if not 0 < on_s < period.seconds.value:
        raise ValueError(f"a gate of {on_s:g} s does not fit a period of {period.seconds.value:g} s")
    first = period.phase_s - on_s / 2
    turns = np.arange(
        np.ceil((start_s - first) / period.seconds.value),
        np.floor((end_s - first - on_s) / period.seconds.value) + 1,
    )
    opens_s = np.asarray(first + turns * period.seconds.value, dtype=np.float64)
    every = np.arange(len(opens_s), dtype=np.int64)
    return Gate(opens_s, opens_s + on_s, np.zeros(len(opens_s), dtype=bool), every)


def rhythmic_reading(rows: PollRows) -> Reading:
    """Reading of rows that were gated by a rhythm: how loud it is, but no verdict about polling.

    The gate was chosen by the same audio, so evidence of a tie would be circular.
    """
    reading = take_reading(rows, latency=Latency(Estimate(0.0, 0.0, 0.0), score=float("inf")))
    loud = reading.excess_db is not None and reading.excess_db.low > 0
    return replace(
        reading,
        interference_dbfs=reading.noise_dbfs + reading.i_over_n_db
        if loud and reading.noise_dbfs is not None and reading.i_over_n_db is not None
        else None,
        verdict=Verdict.TOO_FEW,
        p_value=None,
        warnings=(NOT_SHOWN, *(one for one in reading.warnings if one != STEADY)),  # nobody polled
    )


def folded(beat: Floats, step_s: float, period_s: float) -> tuple[Floats, Ints]:
    """Power over time laid on itself period by period.

    Args:
        beat: shape (n,), power over time.
        step_s: time from one value to the next.
        period_s: the period.

    Returns:
        mean of each part of the period, in steps of about `step_s`, and how many values it is the mean of.
    """
    parts = max(4, round(period_s / step_s))
    part = (np.arange(len(beat)) * (step_s / period_s) % 1.0 * parts).astype(np.int64) % parts
    count = np.bincount(part, minlength=parts)
    return np.bincount(part, weights=beat, minlength=parts) / np.maximum(count, 1), count


def loud_part(beat: Floats, step_s: float, period_s: float) -> tuple[float, float]:
    """Which part of the period is loud: its middle and length in seconds.

    The stretch [a, a + w) that stands out most as a matched filter: (sum over it - w mean) / sqrt(w (1 - w)).
    """
    profile, _ = folded(beat, step_s, period_s)
    parts = len(profile)
    cell_s = period_s / parts
    total = np.concatenate([[0.0], np.cumsum(np.tile(profile - profile.mean(), 2))])
    widths = np.arange(max(1, round(_SHORTEST_S / cell_s)), max(2, int(_MOST_SHARE * parts)) + 1)
    begin = np.arange(parts)
    risen = total[begin + widths[:, None]] - total[begin]
    score = risen / np.sqrt(widths * (1 - widths / parts))[:, None]
    width, first = np.unravel_index(int(np.argmax(score)), score.shape)
    length_s = float(widths[width] * cell_s)
    return float((first * cell_s + length_s / 2) % period_s), length_s
