"""Sentences with numbers, for changes and findings. Steps are counted from 1, as the reader sees them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from telltick.model.answers import Change, ChangeVerdict
from telltick.model.readings import Estimate

MOST_STEPS = 4  # named one by one
WIDE_DB = 3.0  # an interval this wide deserves no decimals


def step_words(steps: Iterable[int]) -> str:
    """Such as ``step 2``, ``steps 1, 3 and 5``, ``steps 1 to 5``, ``steps 1, 3, 5 ... 19``."""
    ordered = sorted(set(steps))
    numbers = [str(step + 1) for step in ordered]
    if len(numbers) <= 1:
        return f"step {numbers[0]}" if numbers else "no step"
    if len(numbers) > 2 and ordered[-1] - ordered[0] == len(ordered) - 1:
        return f"steps {numbers[0]} to {numbers[-1]}"
    if len(numbers) > MOST_STEPS:
        return f"steps {', '.join(numbers[: MOST_STEPS - 1])} ... {numbers[-1]}"
    return f"steps {', '.join(numbers[:-1])} and {numbers[-1]}"


def factor_words(factor: str) -> str:
    """A factor as the trade writes it."""
    return factor.replace("rf ", "RF ")


def swap_words(before: Mapping[str, str], after: Mapping[str, str]) -> str:
    """Such as ``antenna beam to dummy load``."""
    return ", ".join(
        f"{factor_words(one)} {before.get(one) or 'not told'} to {after.get(one) or 'not told'}"
        for one in after
    )


def signed(value: float) -> str:
    """A difference with its sign; none for zero."""
    text = f"{value:+.1f}"
    return "0.0" if float(text) == 0 else text


def moved(name: str, estimate: Estimate) -> str:
    """Such as ``I fell by 14.2 dB (13.8 to 14.6)``, or ``I differs by +0.1 dB (-0.2 to +0.4)``."""
    if estimate.low < 0 < estimate.high:
        value, first, last = (signed(one) for one in (estimate.value, estimate.low, estimate.high))
        return f"{name} differs by {value} dB ({first} to {last})"
    verb = "fell" if estimate.value < 0 else "rose"
    digits = 0 if estimate.high - estimate.low >= WIDE_DB else 1
    low, high = sorted((abs(estimate.low), abs(estimate.high)))
    return f"{name} {verb} by {abs(estimate.value):.{digits}f} dB ({low:.{digits}f} to {high:.{digits}f})"


def at_least(bound_db: float) -> str:
    """Such as ``I fell by at least 9 dB``."""
    return f"I {'fell' if bound_db < 0 else 'rose'} by at least {abs(bound_db):.0f} dB"


def explained(change: Change, heard: bool) -> str:
    """One sentence with the numbers of a change."""
    where = f"{swap_words(change.before, change.after)} ({step_words(change.before_steps)} against "
    where += f"{step_words(change.after_steps)})"
    return f"{where}: {_result(change, heard)}."


def _result(change: Change, heard: bool) -> str:
    parts = [_deciding(change, heard)]
    if change.noise_db is not None and change.basis != "noise":
        parts.append(moved("N", change.noise_db))
    if len(change.factors) > 1:
        parts.append(f"{len(change.factors)} factors changed at once, so none of them alone is to blame")
    if change.verdict is ChangeVerdict.UNDECIDED:
        parts.append(_still_needed(change))
    elif change.verdict is ChangeVerdict.SAME:
        parts.append(f"within {change.bound_db:g} dB it is the same")
    return "; ".join(parts)


def _deciding(change: Change, heard: bool) -> str:
    if change.basis == "noise":
        floor = moved("N", change.noise_db) if change.noise_db else "N cannot be compared"
        return f"no interference is sure on either side; {floor}"
    if change.basis == "excess":
        text = moved("the excess", change.excess_db) if change.excess_db else "the excess cannot be compared"
        return text if heard else f"no interference is sure on either side, {text}"
    if change.interference_at_least_db is not None:
        return at_least(change.interference_at_least_db)
    return moved("I", change.interference_db) if change.interference_db else "I cannot be compared"


def _still_needed(change: Change) -> str:
    if change.more_polls is None:
        return "undecided, and more polls alone would not decide it"
    return f"undecided, about {change.more_polls} more polls on each side would decide"
