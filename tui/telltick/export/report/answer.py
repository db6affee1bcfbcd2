"""The answer of a session: is it tied to the polling, how does it come in, would it matter on the air."""

from __future__ import annotations

from telltick.export.report.words import count, difference, joined, known, level, odds, step_words
from telltick.model.answers import Answers, PathVerdict
from telltick.model.measurement import Measurement, StepReading
from telltick.model.readings import Reading, Verdict

QUESTION = (
    "Does polling the radio over its serial port put noise into the receiver, how strong is it, "
    "and which way does it come in?"
)

_WAYS = {  # findings that are ways in; what they depend on or how they repeat is told in their table
    "antenna": "through the antenna and its feed line",
    "cable": "along the serial or USB cable",
    "computer": "from the computer itself",
    "supply": "through the supply",
    "ahead of rf gain": "ahead of the RF gain control",
    "behind rf gain": "behind the RF gain control",
    "monitor": "through the transmit-monitor path",
    "data line": "from the data line itself",
    "command handling": "with the radio's handling of commands",
}


def answer(measurement: Measurement) -> tuple[str, ...]:
    """Whether and how strong, then which way; with a calibration, whether it would matter on the air."""
    return (_tie(measurement), _way(measurement), *on_air_answer(measurement))


def on_air_answer(measurement: Measurement) -> tuple[str, ...]:
    """Hidden or heard, by how much, where; nothing without levels at the antenna socket."""
    one = measurement.on_air_step
    if one is None or one.on_air is None:
        return ()
    words = one.on_air.answer
    step = f"step {one.step.index + 1}; Rec. ITU-R P.372"
    return (f"Would it matter on the air? {words[0].upper()}{words[1:]} ({step}).",)


def strongest(measurement: Measurement) -> StepReading | None:
    """The tied step in which the interference stands highest above the noise."""
    tied = [one for one in measurement.steps if one.reading.verdict is Verdict.TIED]
    measured = [one for one in tied if known(one.reading.excess_db)]
    return max(measured, key=lambda one: one.reading.excess_db.value, default=None)  # type: ignore[union-attr]


def _rise(reading: Reading) -> str:
    """By how much; what surely rose needs no signs."""
    excess = reading.excess_db
    sure = known(excess) and excess is not None and excess.low > 0
    return difference(excess).replace("+", "") if sure else difference(excess)


def _tie(measurement: Measurement) -> str:
    top = strongest(measurement)
    if top is not None:
        where = f"step {top.step.index + 1} ({step_words(top.step)})"
        if len(measurement.steps) == 1:
            where = "the one setup that was measured"
        rise = f"while bytes flow, the audio rises by {_rise(top.reading)} above the noise floor"
        return f"Yes: {rise} in {where}{_beyond_chance(measurement)}."
    verdict = measurement.whole.verdict
    if verdict is Verdict.TIED:
        rise = _rise(measurement.whole)
        return f"Yes: over the whole session the audio rises while bytes flow, by {rise} above the floor."
    if verdict is Verdict.NO_TIE:
        limit = measurement.whole.upper_limit_i_over_n_db
        least = (
            ""
            if limit is None
            else f"; interference of more than {level(limit, 'dB')} re the noise "
            "floor is ruled out at 95 % confidence"
        )
        return f"No tie was found: nothing in the audio follows the bytes{least}."
    if not measurement.polling.polls:
        return "It cannot be told: no serial traffic is on record, so nothing says when bytes flowed."
    return f"It cannot be told yet: {count(measurement.whole.polls, 'poll')} are too few."


def _beyond_chance(measurement: Measurement) -> str:
    trial = measurement.trial
    if trial is not None and trial.highest_log10_e >= 2:
        return f", and a coin trial gives {odds(trial.highest_log10_e)}"
    return ", and chance alone would do so in less than 1 % of sessions"


def _way(measurement: Measurement) -> str:
    answers = measurement.answers
    if not any(finding.verdict is not PathVerdict.NOT_TESTED for finding in answers.findings):
        return "Which way it comes in was not tested: no setup was changed that would tell."
    supported, ruled_out = _ways(answers, PathVerdict.SUPPORTED), _ways(answers, PathVerdict.RULED_OUT)
    torn = _ways(answers, PathVerdict.CONTRADICTORY)
    parts = []
    if supported:
        parts.append(f"It comes in {joined(supported)}")
    if ruled_out:
        not_so = joined(ruled_out, "or")
        parts.append(f"not {not_so}" if supported else f"It does not come in {not_so}")
    if torn:
        parts.append(f"the steps contradict each other on whether it comes in {joined(torn, 'or')}")
    if not parts:
        return "The steps do not settle which way it comes in."
    words = "; ".join(parts)
    if not supported:
        words += "; which way it does come in is not settled"
    return f"{words[0].upper()}{words[1:]}."


def _ways(answers: Answers, verdict: PathVerdict) -> list[str]:
    return [_WAYS[one.path] for one in answers.findings if one.verdict is verdict and one.path in _WAYS]
