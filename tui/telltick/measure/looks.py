"""What a session shows, as the table of rules asks for it: outcomes of swaps, and signs that need no swap."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from telltick.measure.changes import EXCESS, INTERFERENCE, NOISE, Judged
from telltick.measure.rules import (
    AHEAD_SHARE,
    BEHIND_SHARE,
    GONE_DB,
    INAUDIBLE_DB,
    NOISE_FALL_DB,
    SWAPS,
    Look,
    Seen,
    Swap,
)
from telltick.measure.setups import Setup
from telltick.measure.vocabulary import REQUEST, Kind, kind_of, number_of, order_of
from telltick.measure.wording import step_words
from telltick.model.answers import ChangeVerdict
from telltick.model.characteristics import Carrier
from telltick.model.measurement import StepReading
from telltick.model.readings import TrialReading, Verdict
from telltick.model.trial import odds_to_one

SURE_P = 0.01  # of a tie, corrected for the setups it was looked for in
SURE_LOG10_E = 2.0  # of a coin trial: odds of 100 against chance
_BY_OTHER_MEANS = (Look.TONE, Look.INTERVAL)  # looks whose swap is not judged by I


@dataclass(frozen=True)
class Observation:
    """One outcome of one look.

    Attributes:
        look: what was looked at.
        seen: what it showed; empty when it stays open.
        words: the numbers behind it, without a full stop.
        steps: indices of the steps it rests on.
        more_polls: polls a side that would probably settle it; None when settled or unknown.
    """

    look: Look
    seen: frozenset[Seen]
    words: str
    steps: tuple[int, ...]
    more_polls: int | None = None


def observations(
    steps: Sequence[StepReading],
    setups: Sequence[Setup],
    judged: Sequence[Judged],
    trial: TrialReading | None,
) -> tuple[Observation, ...]:
    """Everything that the session shows of what the rules look at."""
    alone = [one for one in judged if len(one.change.factors) == 1]
    swaps = [seen for one in alone for look, swap in SWAPS.items() for seen in _swap_seen(one, look, swap)]
    carrier = _carrier(steps)
    signs = [_tie(setups), _trial(trial), carrier, _tone(steps), *map(_interval, alone)]
    between = carrier is not None and Seen.BEFORE_REPLY in carrier.seen
    told = [one if between else _reply_or_handling(one) for one in swaps]
    return (*told, *(sign for sign in signs if sign is not None))


def _reply_or_handling(one: Observation) -> Observation:
    """Without replies their bytes are gone too: only the portrait can say that it was not they."""
    if one.look is not Look.UNANSWERED or Seen.GONE not in one.seen:
        return one
    words = f"{one.words}; the bytes of the replies went with them, and may have been it"
    return replace(one, seen=one.seen - {Seen.GONE}, words=words)


def _swap_seen(one: Judged, look: Look, swap: Swap) -> Iterator[Observation]:
    change = one.change
    turned = towards(swap, *(side.get(swap.factor, "") for side in (change.before, change.after)))
    if change.factors != (swap.factor,) or look in _BY_OTHER_MEANS or not turned:
        return
    words = change.because.rstrip(".")
    seen = _by_noise(one, turned, swap) | _by_interference(one, turned)
    steps = tuple(sorted({*change.before_steps, *change.after_steps}))
    if swap.returns and change.swaps < 2:
        words += "; the bench has not been put back since"
    yield Observation(look, frozenset(seen), words, steps, change.more_polls)


def towards(swap: Swap, before: str, after: str) -> int:
    """1 when going from `before` to `after` is this swap, -1 when it is its reverse, 0 when it is another."""
    if swap.down:
        return order_of(swap.factor, before, after)
    there, here = (kind_of(swap.factor, value) in swap.to for value in (after, before))
    if not swap.to or swap.among:
        return int(not swap.to or (there and here))
    return there - here


def _by_interference(one: Judged, turned: int) -> set[Seen]:
    """What a swap does to I; nothing where no side has any."""
    before, after = one.comparison.sides[::turned]
    if one.change.basis == NOISE or not (before.heard or after.heard):
        return set()
    low, high = sorted((turned * one.low_db, turned * one.high_db))
    bound_db = one.change.bound_db
    seen = set()
    if high <= -bound_db:
        seen |= {Seen.FELL, Seen.MOVED}
    if low >= bound_db:
        seen.add(Seen.MOVED)
    if low >= -bound_db:
        seen.add(Seen.NOT_LESS)
    if one.change.verdict is ChangeVerdict.SAME:
        seen |= {Seen.STAYED, Seen.NOT_LESS}
    gone_db = GONE_DB if one.change.basis == INTERFERENCE else bound_db
    if high <= -gone_db and (one.change.basis == INTERFERENCE or not after.heard):
        seen.add(Seen.GONE)
    return seen | _beside_noise(one, turned, (low, high))


def _beside_noise(one: Judged, turned: int, ends_db: tuple[float, float]) -> set[Seen]:
    """Does I fall as N falls? Only where N did fall, and the gain did not give way to the bursts."""
    low, high = sorted((turned * one.noise_low_db, turned * one.noise_high_db))
    if one.change.basis == EXCESS or high > -NOISE_FALL_DB:
        return set()
    if ends_db[1] <= AHEAD_SHARE * low:
        return {Seen.WITH_NOISE}
    return {Seen.APART} if ends_db[0] >= BEHIND_SHARE * high else set()


def _by_noise(one: Judged, turned: int, swap: Swap) -> set[Seen]:
    """What a swap does to N; a floor wanders by itself, so some swaps must be undone before they count."""
    if swap.returns and one.change.swaps < 2:
        return set()
    highest = max(turned * one.noise_low_db, turned * one.noise_high_db)
    return {Seen.NOISE_FELL} if highest <= -one.change.bound_db else set()


def _tie(setups: Sequence[Setup]) -> Observation | None:
    """Is any setup's noise tied to the polling, or is it sure that none is?"""
    measured = [one for one in setups if one.reading.p_value is not None]
    if not measured:
        return None
    tied = [one for one in measured if sure_tie(one, len(measured))]
    if tied:
        best = max(tied, key=lambda one: one.reading.polls)
        steps = tuple(sorted(step for one in tied for step in one.steps))
        excess = best.reading.excess_db
        rise = f" by {excess.value:.1f} dB ({excess.low:.1f} to {excess.high:.1f})" if excess else ""
        words = f"the noise rises{rise} while bytes flow in {step_words(best.steps)}"
        return Observation(Look.TIE, frozenset({Seen.YES}), words, steps)
    limits = [one.reading.upper_limit_i_over_n_db for one in measured]
    known = [limit for limit in limits if limit is not None]
    none = len(known) == len(measured) and max(known) <= INAUDIBLE_DB
    steps = tuple(sorted(step for one in measured for step in one.steps))
    words = "nothing in the audio follows the bytes"
    if known:
        words += f", as far as the noise lets see: {bound_words(max(known))}"
    return Observation(Look.TIE, frozenset({Seen.NO} if none else ()), words, steps)


def bound_words(limit_db: float) -> str:
    """What an upper limit of I / N leaves open."""
    if limit_db < 0:
        return f"interference, if any, is at least {-limit_db:.0f} dB below it"
    return f"interference could be as much as {limit_db:.0f} dB above it"


def sure_tie(setup: Setup, looked_in: int) -> bool:
    """Is the tie sure, though it was looked for in so many setups?"""
    p_value = setup.reading.p_value
    return setup.reading.verdict is Verdict.TIED and p_value is not None and p_value * looked_in <= SURE_P


def _trial(trial: TrialReading | None) -> Observation | None:
    if trial is None or not trial.cycles:
        return None
    sure = trial.highest_log10_e >= SURE_LOG10_E
    odds = f"the coin trial stands at odds of {odds_to_one(trial.highest_log10_e)} against chance"
    words = f"{odds} after {trial.cycles} cycles (seed {trial.seed})"
    return Observation(Look.TRIAL, frozenset({Seen.YES} if sure else ()), words, ())


def _carrier(steps: Sequence[StepReading]) -> Observation | None:
    """Which part of the poll carries it, where portraits say so and agree."""
    answered = [one for one in steps if kind_of(REQUEST, one.step.setup.get(REQUEST, "")) is not Kind.NONE]
    claims = {one.step.index: one.portrait.carrier for one in answered if one.portrait is not None}
    told = {index: carrier for index, carrier in claims.items() if carrier is not Carrier.UNKNOWN}
    if not claims:
        return None
    if not told:
        return Observation(Look.CARRIER, frozenset(), "the portraits do not tell which bytes carry it", ())
    where = step_words(told)
    kinds = set(told.values())
    if len(kinds) > 1:
        words = f"the portraits of {where} disagree: {', '.join(sorted(kinds))}"
        return Observation(Look.CARRIER, frozenset(), words, tuple(told))
    kind = kinds.pop()
    meaning = {
        Carrier.TURNAROUND: Seen.BEFORE_REPLY,
        Carrier.REQUEST: Seen.IN_REQUEST,
        Carrier.BYTES: Seen.IN_REQUEST,
    }
    seen = frozenset({meaning[kind]} if kind in meaning else ())
    return Observation(Look.CARRIER, seen, f"by its portrait it is {kind} ({where})", tuple(told))


def _tone(steps: Sequence[StepReading]) -> Observation | None:
    """Does the tone follow the character rate, wherever it can be told?"""
    told = [one for one in steps if one.character is not None and number_of(one.step.setup.get("baud", ""))]
    if not told:
        return None
    agreeing = {
        one.step.index: one.character.baud
        for one in told
        if one.character and one.character.baud == number_of(one.step.setup["baud"])
    }
    steps_told = tuple(one.step.index for one in told)
    if len(agreeing) < len(told):
        words = f"the tone does not follow the character rate throughout ({step_words(steps_told)})"
        return Observation(Look.TONE, frozenset(), words, steps_told)
    rates = " and ".join(f"{baud}" for baud in sorted(set(agreeing.values())))
    words = f"the tone is that of characters at {rates} baud, as set ({step_words(steps_told)})"
    if len(set(agreeing.values())) < 2:
        return Observation(Look.TONE, frozenset(), f"{words}; at one rate only", steps_told)
    return Observation(Look.TONE, frozenset({Seen.YES}), words, steps_told)


def _interval(one: Judged) -> Observation | None:
    """Is it tied to the polls at both poll intervals?"""
    if one.change.factors != (SWAPS[Look.INTERVAL].factor,):
        return None
    pair = (one.comparison.before, one.comparison.after)
    tied = [sure_tie(setup, 2) for setup in pair]
    steps = tuple(sorted({*one.change.before_steps, *one.change.after_steps}))
    values = " and ".join(setup.said.get("poll interval", "?") for setup in pair)
    where = f"at poll intervals of {values} ({step_words(steps)})"
    if all(tied):
        words = f"it comes with the polls {where}"
        return Observation(Look.INTERVAL, frozenset({Seen.YES}), words, steps)
    limits = [setup.reading.upper_limit_i_over_n_db for setup in pair]
    silent = [limit is not None and limit <= INAUDIBLE_DB for limit in limits]
    gone = any(tied) and any(quiet and not loud for quiet, loud in zip(silent, tied, strict=True))
    words = f"it comes with the polls only {where}" if gone else f"a tie is not sure on both sides {where}"
    words = words.replace("only at poll intervals of", "at only one of the poll intervals of")
    return Observation(Look.INTERVAL, frozenset({Seen.NO} if gone else ()), words, steps)
