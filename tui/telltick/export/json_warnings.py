"""Why values of a measurement are missing or doubtful, one sentence each."""

from __future__ import annotations

from telltick.export.results_json import is_tied
from telltick.model.measurement import Measurement, StepReading
from telltick.model.readings import Reading, Verdict

_MAY_LACK = (
    "noise_dbfs", "interference_dbfs", "excess_db", "i_over_n_db", "p_value", "upper_limit_i_over_n_db",
)  # fmt: skip
_NOT_FOR: dict[Verdict, set[str]] = {
    Verdict.TIED: {"upper_limit_i_over_n_db"},
    Verdict.NO_TIE: {"interference_dbfs", "i_over_n_db"},
    Verdict.TOO_FEW: set(),
    Verdict.CONTROL: set(),
}
NO_QUIET = "heard: it takes two seconds of audio clear of polls."
NO_RATE = "character_rate: no standard rate stands out clearly."
NO_PORTRAIT = "portrait: it takes twenty polls in one capture run."
PASSED_OVER = "of many steps only the first of each setup are looked at closely."
NOTHING_SHARED = "no bytes repeat ten times, or what they share does not stand out of the noise."
NOT_TIED = "no step is tied to polling."


def json_warnings(measurement: Measurement) -> list[str]:
    """Every warning of a measurement, each said once; the key concerned comes first where there is one."""
    said = [*measurement.warnings, *measurement.answers.warnings]
    said += _of_session(measurement, said)
    readings = [("whole", measurement.whole)]
    readings += [(f"steps[{one.step.index}]", one.reading) for one in measurement.steps]
    for name, reading in readings:
        explained = reading.verdict is Verdict.TOO_FEW and reading.warnings
        texts = reading.warnings if explained else (*reading.warnings, *_missing(reading))
        said += [f"{name}: {text}" for text in texts]
    for one in measurement.steps:
        said += [f"steps[{one.step.index}]: {text}" for text in _unlike(one)]
    said += _of_sound(measurement)
    if measurement.trial is not None:
        said += [f"trial: {text}" for text in measurement.trial.warnings]
    return list(dict.fromkeys(said))


def _of_session(measurement: Measurement, known: list[str]) -> list[str]:
    polling, said = measurement.polling, []
    if measurement.latency is None and not any(text.startswith("latency_ms") for text in known):
        said.append("latency_ms: no latency was found.")
    if polling.interval_median_s is None:
        said.append("polling.interval_s: it needs at least two polls.")
    if polling.baud is None:
        said.append("polling.baud: the character rate is not known, or was changed during the session.")
    if not polling.framing:
        said.append("polling.framing: the character framing is not known.")
    if polling.replies is None:
        said.append("polling.replies: replies are counted only where telltick itself polls.")
    elif polling.replies.median_ms is None:
        said.append("polling.replies.reply_ms: no reply was timed.")
    if measurement.on_air is None and not any(text.startswith("on_air:") for text in known):
        said.append("on_air: the steps have no level at the antenna socket in common.")
    return said


def _missing(reading: Reading) -> list[str]:
    """The values that a reading lacks, in words, unless its verdict itself explains them."""
    lacking = [
        name for name in _MAY_LACK if getattr(reading, name) is None and name not in _NOT_FOR[reading.verdict]
    ]
    if not lacking:
        return []
    if reading.verdict is Verdict.CONTROL:
        return [f"control: polling was off, so it has no {', '.join(lacking)}."]
    why = "there is not enough data" if reading.verdict is Verdict.TOO_FEW else "it could not be told"
    return [f"{', '.join(lacking)}: {why}."]


def _unlike(one: StepReading) -> list[str]:
    """What is not told of a step's sound; without a tie the verdict explains portrait and character rate."""
    lacking = {"heard": NO_QUIET} if one.heard is None else {}
    if is_tied(one.reading):
        lacking |= {"character_rate": NO_RATE} if one.character is None else {}
        lacking |= {"portrait": NO_PORTRAIT} if one.portrait is None else {}
    return [f"{', '.join(lacking)}: {PASSED_OVER}"] if one.passed_over and lacking else [*lacking.values()]


def _of_sound(measurement: Measurement) -> list[str]:
    """What is not told of the sound of the whole."""
    tied = any(is_tied(one.reading) for one in measurement.steps)
    said = [NO_QUIET] if measurement.heard is None else []
    if measurement.portrait is None:
        said.append(NO_PORTRAIT if tied else f"portrait: {NOT_TIED}")
    if measurement.character is None:
        said.append(NO_RATE if tied else f"character_rate: {NOT_TIED}")
    if measurement.bits is None:
        said.append("bits: bytes or character rate are not known." if tied else f"bits: {NOT_TIED}")
    if measurement.coherent is None:
        said.append(f"coherent: {NOTHING_SHARED if tied else NOT_TIED}")
    if measurement.period is None:
        polled = measurement.polling.polls > 0
        said.append(
            "period: a rhythm is looked for only in audio without serial traffic."
            if polled
            else "period: no rhythm stands out in the audio."
        )
    return said
