"""Heard level after Rec. ITU-R BS.468-4: weighting for the ear, then a quasi-peak meter.

Ticks and buzz annoy more than their mean power tells. The Recommendation weights the audio towards 6.3 kHz,
where the ear minds noise most, and reads short bursts by rules (its Tables 2 and 3) that this meter meets at
16 to 192 kHz; slower audio is brought to a higher rate first. Levels are dBqps with 0 dB for a steady
full-scale sine of 1 kHz.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from telltick.measure.frames import FULL_SCALE, Samples
from telltick.measure.gating import GUARD_S, merged
from telltick.model.characteristics import Heard
from telltick.model.clock import Floats
from telltick.model.traffic import Gate

# Not in the Recommendation: fitted, within 0.15 dB of the middle of each of its burst windows.
_CHARGE_S, _DISCHARGE_S, _NEEDLE_S = 0.0014, 0.290, 0.140
_SINE_READS_RMS = 0.72086
_MIN_RATE_HZ = 16_000
_NARROW_HZ, _NEXT_TO_NOTHING = 7000.0, 1e-3
_BLOCK_S = 0.020  # the rectifier loses less than 7 % in so long
_MIN_HEARD_S = 1.0  # the needle takes a second to settle


def weighting(freq_hz: npt.ArrayLike) -> npt.NDArray[np.complex128]:
    """Complex response of the weighting network (BS.468-4, figure 1a), 1 (0 dB) at 1 kHz.

    The magnitude is that of Table 1; coefficients of the ladder network with its printed parts.
    """
    f = np.asarray(freq_hz, dtype=np.float64)
    even = 1 - 1.363894795463638e-7 * f**2 + 2.043828333606125e-15 * f**4 - 4.737338981378384e-24 * f**6
    odd = 5.559488023498642e-4 * f - 2.118150887518656e-11 * f**3 + 1.306612257412824e-19 * f**5
    return np.asarray(10 ** (18.246 / 20) * 1.246332637532143e-4 * 1j * f / (even + 1j * odd))


def quasi_peak(audio: Floats, rate_hz: int) -> Floats:
    """The meter's needle over time, scaled to the r.m.s. of a steady sine; its highest point is the reading.

    A rectifier that charges fast and discharges slowly, then a needle that follows it.

    Args:
        audio: shape (n,), weighted.
        rate_hz: at least 16 kHz.
    """
    return _SINE_READS_RMS * smoothed(_rectified(np.abs(audio), rate_hz), rate_hz, _NEEDLE_S)


def smoothed(values: Floats, rate_hz: int, time_s: float) -> Floats:
    """Values through y += (1 - exp(-1 / (time rate))) (x - y), starting at zero.

    Worked out in blocks much shorter than the time constant: within one, y / k^n is a running sum.
    """
    block = max(1, round(rate_hz * time_s / 20))
    keep = float(np.exp(-1 / (time_s * rate_hz)))
    padded = np.zeros(-(-len(values) // block) * block)
    padded[: len(values)] = values
    powers = keep ** np.arange(1, block + 1)
    out = np.cumsum(padded.reshape(-1, block) / powers, axis=1) * ((1 - keep) * powers)
    before, faded = [0.0], float(powers[-1])
    for last in out[:-1, -1].tolist():
        before.append(last + before[-1] * faded)
    out += np.array(before)[:, None] * powers
    return np.asarray(out.ravel()[: len(values)])


def _rectified(size: Floats, rate_hz: int) -> Floats:
    """What the rectifier holds after each sample.

    It holds p + c (x - p), c being the charge for x above p and the discharge otherwise. Between charges
    that is a linear filter: p = y + e, where y is the size of the audio through the discharge alone and e
    decays. So only the samples that may charge are looked at one by one.
    """
    charge, discharge = (-np.expm1(-1 / (t * rate_hz)) for t in (_CHARGE_S, _DISCHARGE_S))
    discharged = np.concatenate([[0.0], smoothed(size, rate_hz, _DISCHARGE_S)])  # before each sample
    block = max(1, round(_BLOCK_S * rate_hz))
    kept = ((1 - discharge) ** np.arange(block + 1)).tolist()
    charged_at, above = [0], [0.0]  # sample of each charge and e after it
    level = 0.0
    for start in range(0, len(size), block):
        part = size[start : start + block]
        before = discharged[start : start + block + 1]
        extra, since = level - float(before[0]), 0
        for index in (part > level * kept[-1]).nonzero()[0].tolist():
            extra *= kept[index - since]
            since = index
            held = float(before[index]) + extra
            if part[index] > held:
                held += charge * (float(part[index]) - held)
                extra = held - float(before[index + 1])
                since = index + 1
                charged_at.append(start + index)
                above.append(extra)
        level = float(before[-1]) + extra * kept[len(part) - since]
    run = np.diff([*charged_at, len(size)])
    since_charge = np.arange(len(size)) - np.repeat(charged_at, run)
    fading = (1 - discharge) ** np.arange(run.max(initial=0))
    return np.asarray(discharged[1:] + np.repeat(above, run) * fading[since_charge])


def heard_level(samples: Samples, rate_hz: int, gate: Gate) -> Heard | None:
    """Heard level of a stretch of audio with and without its polls; None with less than a second of either.

    Args:
        samples: shape (n,), audio as recorded.
        rate_hz: sample rate.
        gate: bursts in seconds from ``samples[0]``, latency applied.
    """
    heard, heard_hz = weighted(samples / FULL_SCALE, rate_hz)
    quiet = np.ones(len(heard), dtype=bool)
    for start_s, end_s in zip(*merged(gate.poll_start_s - GUARD_S, gate.poll_end_s + GUARD_S), strict=True):
        quiet[max(0, int(start_s * heard_hz)) : max(0, int(end_s * heard_hz))] = False
    if np.count_nonzero(quiet) < 2 * _MIN_HEARD_S * heard_hz:
        return None
    floor_db = _settled_db(heard[quiet], heard_hz)
    return Heard(floor_db, None if quiet.all() else _settled_db(heard, heard_hz))


def weighted(audio: Floats, rate_hz: int) -> tuple[Floats, int]:
    """Weighted audio, and its rate: the lowest that the meter reads where the audio is as narrow as that."""
    from scipy.fft import irfft, rfft

    seconds = int(np.ceil(len(audio) / rate_hz + 0.5))
    lines = rfft(audio, seconds * rate_hz) * _response(seconds, rate_hz)
    power = lines.real**2 + lines.imag**2
    narrow = power[int(_NARROW_HZ * seconds) :].sum() <= _NEXT_TO_NOTHING * power.sum()
    heard_hz = _MIN_RATE_HZ if narrow or rate_hz < _MIN_RATE_HZ else rate_hz
    heard = irfft(lines, seconds * heard_hz) * (heard_hz / rate_hz)
    return np.asarray(heard[: len(audio) * heard_hz // rate_hz]), heard_hz


@lru_cache(maxsize=4)
def _response(seconds: int, rate_hz: int) -> npt.NDArray[np.complex128]:
    """The weighting at each line of so many seconds."""
    return weighting(np.arange(seconds * rate_hz // 2 + 1) / seconds)


def _settled_db(audio: Floats, rate_hz: int) -> float:
    """Mean of the needle once it has settled."""
    needle = quasi_peak(audio, rate_hz)[int(_MIN_HEARD_S * rate_hz) :]
    return float(20 * np.log10(max(needle.mean() * np.sqrt(2), 1e-12)))
