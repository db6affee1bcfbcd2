"""Parts of the measurement object: what the interference is like, and what the steps say together."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from telltick.export.values import number
from telltick.model.answers import Change, Finding, NextTest, SetupReading
from telltick.model.characteristics import BitsHeard, CharacterRate, CoherentAverage, Heard, Period, Portrait
from telltick.model.clock import Floats
from telltick.model.on_air import OnAir
from telltick.model.readings import Estimate, Reading, Verdict


def estimate(value: Estimate | None) -> dict[str, float] | None:
    """A value with its interval; null unless all three are numbers."""
    if value is None or not all(map(math.isfinite, (value.value, value.low, value.high))):
        return None
    return {"value": float(value.value), "low": float(value.low), "high": float(value.high)}


def reading(one: Reading) -> dict[str, Any]:
    """N, I, excess and verdict of one stretch."""
    return {
        "polls": one.polls,
        "seconds": one.seconds,
        "noise_dbfs": number(one.noise_dbfs),
        "interference_dbfs": number(one.interference_dbfs),
        "excess_db": estimate(one.excess_db),
        "i_over_n_db": number(one.i_over_n_db),
        "verdict": str(one.verdict),
        "p_value": number(one.p_value),
        "upper_limit_i_over_n_db": number(one.upper_limit_i_over_n_db),
        "warnings": list(one.warnings),
    }


def heard(one: Heard | None) -> dict[str, Any] | None:
    """How loud it sounds."""
    return None if one is None else {"floor_db": number(one.floor_db), "polled_db": number(one.polled_db)}


def character_rate(one: CharacterRate | None) -> dict[str, Any] | None:
    """The character rate that the audio speaks of."""
    if one is None:
        return None
    return {
        "baud": one.baud,
        "framing": None if one.framing is None else str(one.framing),
        "score": number(one.score),
        "lead": number(one.lead),
        "shift_hz": number(one.shift_hz),
    }


def portrait(one: Portrait | None, *, curve: bool) -> dict[str, Any] | None:
    """Mean response around a poll; the curve itself only where asked for."""
    if one is None:
        return None
    told: dict[str, Any] = {
        "carrier": str(one.carrier),
        "lead": number(one.lead),
        "polls": one.polls,
        "request_s": number(one.request_s),
        "reply_s": None if one.reply_s is None else {"start": one.reply_s[0], "end": one.reply_s[1]},
    }
    if curve:
        told["curve"] = {
            "at_s": _numbers(one.at_s),
            "ratio": _numbers(one.ratio),
            "low": _numbers(one.low),
            "high": _numbers(one.high),
        }
    return told


def bits(one: BitsHeard | None) -> dict[str, Any] | None:
    """Whether the bits themselves are heard."""
    if one is None:
        return None
    return {
        "heard": bool(one.heard),
        "log10_e": number(float(one.log10_e)),
        "polls": one.polls,
        "upright": None if one.upright is None else bool(one.upright),
        "because": one.because,
    }


def coherent(one: CoherentAverage | None) -> dict[str, Any] | None:
    """What bursts with the same bytes share."""
    if one is None:
        return None
    return {
        "bursts": one.bursts,
        "part": "reply" if one.reply else "request",
        "i_over_n_db": estimate(one.i_over_n_db),
        "gain_db": number(one.gain_db),
        "free_timing": one.free_timing,
        "free_phase": one.free_phase,
    }


def period(one: Period | None) -> dict[str, Any] | None:
    """A rhythm found in the audio alone."""
    seconds = None if one is None else estimate(one.seconds)
    if one is None or seconds is None:
        return None
    return {
        "value_s": seconds["value"],
        "low": seconds["low"],
        "high": seconds["high"],
        "p_value": number(one.p_value),
        "score": number(one.score),
        "phase_s": number(one.phase_s),
        "on_s": number(one.on_s),
        "verdict": rhythm_words(one),
        "reading": None if one.reading is None else reading(one.reading),
    }


def rhythm_words(one: Period) -> str:
    """Such as ``rhythmic at 5.000 per second, excess +4.8 dB over 32 ms of each beat; not shown to ...``.

    How long the bursts are nobody knows: the excess is that of the part of a beat which stands out.
    """
    words = f"rhythmic at {_per_second(one.seconds)} per second"
    excess = None if one.reading is None else estimate(one.reading.excess_db)
    if excess is not None:
        words += f", excess {excess['value']:+.1f} dB ({excess['low']:+.1f} to {excess['high']:+.1f})"
        words += f" over {1000 * one.on_s:.0f} ms of each beat" if one.on_s else ""
    return f"{words}; not shown to be polling"


def _per_second(seconds: Estimate) -> str:
    """A rate with the digits that its interval deserves."""
    rate, error = 1 / seconds.value, (seconds.high - seconds.low) / 2 / seconds.value**2
    digits = 2 if error <= 0 else min(max(-math.floor(math.log10(error)), 1), 4)
    return f"{rate:.{digits}f}"


def on_air(one: OnAir | None) -> dict[str, Any] | None:
    """Levels at the antenna socket, beside the noise to expect there."""
    if one is None:
        return None
    return {
        "noise_dbm": number(one.noise_dbm),
        "interference_dbm": number(one.interference_dbm),
        "noise_s": one.noise_s,
        "interference_s": one.interference_s or None,
        "frequency_hz": number(one.frequency_hz),
        "environment": str(one.environment),
        "expected": {
            "figure_db": number(one.expected.figure_db),
            "dbm": number(one.expected.dbm),
            "low_dbm": number(one.expected.low_dbm),
            "high_dbm": number(one.expected.high_dbm),
        },
        "over_expected_db": number(one.over_expected_db),
        "verdict": one.verdict,
    }


def setup(one: SetupReading) -> dict[str, Any]:
    """All steps with one setup, pooled."""
    return {
        "setup": dict(one.setup),
        "steps": list(one.steps),
        "reading": reading(one.reading),
        "drift_db": estimate(one.drift_db),
        "drifted": one.drifted,
        "more_s": number(one.more_s),
    }


def change(one: Change) -> dict[str, Any]:
    """Two setups set against each other."""
    decides = one.interference_db if one.basis == "interference" else one.excess_db
    if one.basis == "noise":
        decides = one.noise_db
    return {
        "before": list(one.before_steps),
        "after": list(one.after_steps),
        "factor": ", ".join(one.factors),
        "difference_db": estimate(decides),
        "verdict": one.words,
        "factors": list(one.factors),
        "values": {
            factor: {"before": one.before.get(factor), "after": one.after.get(factor)}
            for factor in one.factors
        },
        "basis": one.basis,
        "excess_db": estimate(one.excess_db),
        "interference_db": estimate(one.interference_db),
        "noise_db": estimate(one.noise_db),
        "bound_db": one.bound_db,
        "p_changed": number(one.p_changed),
        "p_same": number(one.p_same),
        "swaps": one.swaps,
        "more_polls": one.more_polls,
        "because": one.because,
    }


def finding(one: Finding) -> dict[str, Any]:
    """One way in, and what the session says of it."""
    return {
        "path": one.path,
        "verdict": str(one.verdict),
        "because": one.because,
        "steps": list(one.steps),
        "question": one.question,
        "reasoning": one.reasoning,
    }


def next_test(one: NextTest) -> dict[str, Any]:
    """A test worth making next."""
    return {
        "factor": one.factor,
        "value": one.value,
        "splits": list(one.splits),
        "because": one.because,
        "caution": one.caution,
    }


def _numbers(values: Floats | Iterable[float]) -> list[float | None]:
    return [number(round(float(value), 6)) for value in values]


def is_tied(one: Reading) -> bool:
    """Only what is tied to polling has a portrait and a character rate."""
    return one.verdict is Verdict.TIED
