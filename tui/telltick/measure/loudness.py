"""Heard level after Rec. ITU-R BS.468-4: weighting for the ear, then a quasi-peak meter.

Ticks and buzz annoy more than their mean power tells. The Recommendation weights the audio towards 6.3 kHz,
where the ear minds noise most, and reads short bursts by rules (its Tables 2 and 3) that this meter meets at
16 to 192 kHz; slower audio is brought to a higher rate first. Levels are dBqps with 0 dB for a steady
full-scale sine of 1 kHz.
"""

from __future__ import annotations

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
_MIN_HEARD_S = 1.0  # the needle takes a second to settle


def weighting(freq_hz: npt.ArrayLike) -> npt.NDArray[np.complex128]:
    """Complex response of the weighting network (BS.468-4, figure 1a), 1 (0 dB) at 1 kHz.

    The magnitude is that of Table 1; coefficients of the ladder network with its printed parts.
    """
    f = np.asarray(freq_hz, dtype=np.float64)
    even = 1 - 1.363894795463638e-7 * f**2 + 2.043828333606125e-15 * f**4 - 4.737338981378384e-24 * f**6
    odd = 5.559488023498642e-4 * f - 2.118150887518656e-11 * f**3 + 1.306612257412824e-19 * f**5
    return np.asarray(10 ** (18.246 / 20) * 1.246332637532143e-4 * 1j * f / (even + 1j * odd))


def weighted(audio: Floats, rate_hz: int) -> Floats:
    """Audio through the weighting network, worked out in the frequency domain."""
    from scipy.fft import irfft, next_fast_len, rfft

    length = next_fast_len(len(audio) + rate_hz // 2, real=True)
    response = weighting(np.arange(length // 2 + 1) * (rate_hz / length))
    return np.asarray(irfft(rfft(audio, length) * response, length)[: len(audio)])


def quasi_peak(audio: Floats, rate_hz: int) -> Floats:
    """The meter's needle over time, scaled to the r.m.s. of a steady sine; its highest point is the reading.

    A rectifier that charges fast and discharges slowly, then a needle that follows it.

    Args:
        audio: shape (n,), weighted.
        rate_hz: at least 16 kHz.
    """
    from scipy.signal import lfilter

    charge, discharge, needle = (-np.expm1(-1 / (t * rate_hz)) for t in (_CHARGE_S, _DISCHARGE_S, _NEEDLE_S))
    held = np.empty(len(audio))
    level = 0.0
    for index, size in enumerate(np.abs(audio).tolist()):
        level += (charge if size > level else discharge) * (size - level)
        held[index] = level
    return np.asarray(_SINE_READS_RMS * lfilter([needle], [1, needle - 1], held))


def heard_level(samples: Samples, rate_hz: int, gate: Gate) -> Heard | None:
    """Heard level of a stretch of audio with and without its polls; None with less than a second of either.

    Args:
        samples: shape (n,), audio as recorded.
        rate_hz: sample rate.
        gate: bursts in seconds from ``samples[0]``, latency applied.
    """
    quiet = np.ones(len(samples), dtype=bool)
    for start_s, end_s in zip(*merged(gate.poll_start_s - GUARD_S, gate.poll_end_s + GUARD_S), strict=True):
        quiet[max(0, int(start_s * rate_hz)) : max(0, int(end_s * rate_hz))] = False
    if np.count_nonzero(quiet) < 2 * _MIN_HEARD_S * rate_hz:
        return None
    audio = fast_enough(samples / FULL_SCALE, rate_hz)
    times = len(audio) // len(samples)
    heard = weighted(audio, rate_hz * times)
    floor = heard[np.repeat(quiet, times)]
    return Heard(_settled_db(floor, rate_hz * times), _settled_db(heard, rate_hz * times))


def fast_enough(audio: Floats, rate_hz: int) -> Floats:
    """Audio at the least whole multiple of its rate that the quasi-peak meter can read."""
    from scipy.signal import resample_poly

    times = -(-_MIN_RATE_HZ // rate_hz)
    return audio if times == 1 else np.asarray(resample_poly(audio, times, 1))


def _settled_db(audio: Floats, rate_hz: int) -> float:
    """Mean of the needle once it has settled."""
    needle = quasi_peak(audio, rate_hz)[int(_MIN_HEARD_S * rate_hz) :]
    return float(20 * np.log10(max(needle.mean() * np.sqrt(2), 1e-12)))
