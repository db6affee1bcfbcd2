"""How values are said in a report: no more digits than they deserve, an honest word where there is none."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence

from telltick.model.marks import Step
from telltick.model.readings import Estimate
from telltick.model.text import plain_text
from telltick.model.trial import odds_to_one

NONE = "not measured"
_LONGEST = 500
_KEY = re.compile(r"^[a-z_]+(\.[a-z_]+)*: ")  # such as latency_ms


def said(text: object, limit: int = _LONGEST) -> str:
    """Text from outside on one line, without control characters."""
    return plain_text(str(text), limit)


def level(value: float | None, unit: str = "") -> str:
    """A level to a tenth of a decibel; `NONE` where there is none."""
    if value is None or not math.isfinite(value):
        return NONE
    return f"{value:.1f} {unit}".rstrip()


def known(estimate: Estimate | None) -> bool:
    """Whether there is a value, and an interval that says how good it is."""
    return estimate is not None and all(map(math.isfinite, (estimate.value, estimate.low, estimate.high)))


def difference(estimate: Estimate | None, unit: str = "dB") -> str:
    """A ratio or difference with its 95 % interval, such as ``+6.6 dB (+6.5 to +6.7)``."""
    if estimate is None or not known(estimate):
        return NONE
    digits = 1 if estimate.high - estimate.low > 0.1 else 2
    value, low, high = (signed(one, digits) for one in (estimate.value, estimate.low, estimate.high))
    return f"{value} {unit} ({low} to {high})" if unit else f"{value} ({low} to {high})"


def signed(value: float, digits: int = 1) -> str:
    """A number with its sign; what rounds to nothing has none."""
    text = f"{value:+.{digits}f}"
    return text if float(text) else text[1:]


def at_least(change_db: float) -> str:
    """A change of which only the lesser end is known: ``at most -9.0`` when it fell by 9 dB or more."""
    return f"at most {signed(change_db)}" if change_db < 0 else f"at least {signed(change_db)}"


def chance(p_value: float | None) -> str:
    """A p-value in figures."""
    if p_value is None or not math.isfinite(p_value):
        return NONE
    if p_value < 0.0001:
        return "below 0.0001"
    return f"{p_value:.2g}"


def odds(log10_e: float) -> str:
    """An e-value in words."""
    if log10_e < 0.5:
        return "no odds against chance"
    return f"odds of {odds_to_one(log10_e)} against chance"


def clock(seconds: float | None) -> str:
    """Seconds of audio as ``m:ss.s``, or ``h:mm:ss`` when long."""
    if seconds is None or not math.isfinite(seconds):
        return NONE
    tenths = round(10 * max(seconds, 0.0))
    minutes, rest = divmod(tenths, 600)
    if minutes < 60:
        return f"{minutes}:{rest // 10:02d}.{rest % 10}"
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest // 10:02d}"


def lasting(seconds: float) -> str:
    """A length of time: ``78 s``, ``12 min 30 s``, ``3 h 5 min``."""
    whole = round(seconds)
    if whole < 120:
        return f"{whole} s"
    minutes, rest = divmod(whole, 60)
    if minutes < 120:
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60} min"


def setup_words(setup: Mapping[str, str], factors: Iterable[str] | None = None) -> str:
    """``antenna: dummy load, choke: fitted``, for all factors or the ones named."""
    chosen = setup if factors is None else [factor for factor in factors if factor in setup]
    return ", ".join(f"{said(factor, 60)}: {said(setup[factor], 80)}" for factor in chosen)


def step_words(step: Step) -> str:
    """What a step changed; the first one changed nothing."""
    if step.index == 0:
        return "the bench as it was to begin with"
    return setup_words(step.setup, step.changed) or "the same setup again"


def numbers(indices: Sequence[int]) -> str:
    """Steps as readers count them, from 1: ``1, 3``; three and more in a row as ``4-6``."""
    runs: list[list[int]] = []
    for number in sorted({index + 1 for index in indices}):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    parts = (f"{run[0]}-{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs)
    return ", ".join(parts)


def warning(text: str) -> str:
    """A warning as a sentence, without the key that scripts look for."""
    plain = _KEY.sub("", said(text))
    return plain[:1].upper() + plain[1:]


def joined(parts: Sequence[str], word: str = "and") -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} {word} {parts[-1]}"


def count(number: int, thing: str) -> str:
    """``1 poll``, ``3 polls``."""
    return f"{number:,} {thing}{'' if number == 1 else 's'}"
