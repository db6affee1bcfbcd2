"""A measurement for reading in a terminal: the same object that ``measure --json`` prints."""

from __future__ import annotations

import math
import re
import textwrap
from typing import Any

from telltick.export.summary_sections import (
    WIDTH,
    air_lines,
    change_lines,
    finding_lines,
    next_lines,
    sound_lines,
    wrapped,
)
from telltick.export.values import numbered_steps
from telltick.model.replies import Replies
from telltick.model.trial import odds_to_one

_NOT_SHOWN = {
    "period", "heard", "portrait", "character_rate", "bits", "coherent", "on_air", "polling.baud",
    "polling.framing", "polling.interval_s", "polling.replies", "polling.replies.reply_ms", "control",
}  # fmt: skip
_OF_STEP = re.compile(r"steps\[(\d+)\]: ")
_SAID_ABOVE = "latency_ms: no latency was found."
_MORE_POLLS = "Not enough polls"  # says nothing where there are none at all


def summary_text(document: dict[str, Any]) -> str:
    """Plain text of a ``telltick.measurement/1`` object, at most a hundred columns wide."""
    session, audio, polling = document["session"], document["audio"], document["polling"]
    gaps = len(audio["gaps"])
    lines = [
        f"{session['name']}: {audio['seconds']:.1f} s of audio, {gaps or 'no'} gap{'s' if gaps != 1 else ''}",
        _polling_line(polling),
        *_reply_lines(polling.get("replies")),
        _latency_line(document["latency_ms"]),
        *_trial_lines(document.get("trial")),
        "",
        f"{'':<6}{'polls':>7}{'N dBFS':>9}{'I dBFS':>9}{'excess dB (95 %)':>26}  verdict",
        _row("whole", document["whole"]),
    ]
    for step in document["steps"]:
        lines.append(_row(f"{step['index'] + 1}", step))
    lines += ["", *_setup_lines(document["steps"])]
    for section in (sound_lines, air_lines, change_lines, finding_lines, next_lines):
        lines += section(document)
    shown = [warning for warning in document["warnings"] if _concerns(warning, polling["polls"])]
    remarks = [line for warning in _said_once(shown) for line in _remark(warning)]
    return "\n".join([*lines, *([""] if remarks else []), *remarks]).rstrip()


def _polling_line(polling: dict[str, Any]) -> str:
    interval = polling["interval_s"]
    if not polling["polls"] or interval["median"] is None:
        return f"{polling['polls']} polls"
    rate = f" at {polling['baud']} baud {polling['framing'] or ''}".rstrip() if polling["baud"] else ""
    on = 100 * polling["byte_on_fraction"]
    every = f"one each {interval['median']:.3f} s{rate}"
    return f"{polling['polls']} polls, {every}, bytes flow {on:.1f} % of the time"


def _reply_lines(told: dict[str, Any] | None) -> list[str]:
    if told is None or not told["sent"]:
        return []
    took = told["reply_ms"] or {"median": None, "p95": None}
    counts = {key: value for key, value in told.items() if key != "reply_ms"}
    return wrapped(f"replies: {Replies(**counts, median_ms=took['median'], p95_ms=took['p95']).words}", 0)


def _latency_line(latency: dict[str, Any] | None) -> str:
    if latency is None:
        return "latency: nothing in the audio follows the bytes"
    if latency.get("locked"):
        return f"latency {latency['value']:.1f} ms, as the user says"
    return f"latency {latency['value']:.1f} ms ({latency['low']:.1f} to {latency['high']:.1f})"


def _trial_lines(trial: dict[str, Any] | None) -> list[str]:
    if trial is None:
        return []
    cycles = f"{trial['cycles']} cycle{'s' if trial['cycles'] != 1 else ''} of {trial['slots']} slots"
    line = f"coin trial: {cycles}, {_odds(trial['log10_e'] or 0.0)}"
    difference = trial["difference_db"]
    if difference is not None:
        between = f"{difference['low']:+.2f} to {difference['high']:+.2f}"
        line += f", drawn slots {difference['value']:+.2f} dB ({between}) against the others"
    return wrapped(line, 0)


def _odds(log10_e: float) -> str:
    """The e-value in words, with no more digits than it deserves."""
    if log10_e < 0.5:
        return "no odds against chance"
    return f"odds against chance {odds_to_one(log10_e)}"


def _row(name: str, reading: dict[str, Any]) -> str:
    excess = reading["excess_db"]
    between = (
        "" if excess is None else f"{excess['value']:+.2f} ({excess['low']:+.2f} to {excess['high']:+.2f})"
    )
    verdict = reading["verdict"]
    if verdict == "no tie found" and reading["upper_limit_i_over_n_db"] is not None:
        verdict += f" (I/N below {reading['upper_limit_i_over_n_db']:.1f} dB)"
    if verdict == "tied to polling" and reading.get("more_s"):
        verdict += f"; {_lasting(reading['more_s'])} more for 0.5 dB"
    levels = f"{_level(reading['noise_dbfs'])}{_level(reading['interference_dbfs'])}"
    return f"{name:<6}{reading['polls']:>7}{levels}{between:>26}  {verdict}"


def _lasting(seconds: float) -> str:
    """A time to wait, in seconds or minutes."""
    return f"{math.ceil(seconds)} s" if seconds < 120 else f"{math.ceil(seconds / 60)} min"


def _level(value: float | None) -> str:
    return f"{'-':>9}" if value is None else f"{value:>9.1f}"


def _concerns(warning: str, polls: int) -> bool:
    """Whether a warning is about something that the summary shows, and has not said already."""
    key = warning.split(": ")[1 if warning.startswith("steps[") else 0]
    return key not in _NOT_SHOWN and warning != _SAID_ABOVE and (polls > 0 or _MORE_POLLS not in warning)


def _said_once(warnings: list[str]) -> list[str]:
    """What several steps say alike, in one warning at the first of them; steps counted from 1."""
    steps: dict[str, list[int]] = {}
    for warning in warnings:
        found = _OF_STEP.match(warning)
        steps.setdefault(warning[found.end() :] if found else warning, []).extend(
            [int(found[1]) + 1] if found else []
        )
    return [f"{numbered_steps(numbers)}: {text}" if numbers else text for text, numbers in steps.items()]


def _remark(warning: str) -> list[str]:
    counted = re.sub(r"^steps\[(\d+)\]", lambda match: f"step {int(match[1]) + 1}", warning)
    return textwrap.wrap(counted, WIDTH, initial_indent="! ", subsequent_indent="  ")


def _setup_lines(steps: list[dict[str, Any]]) -> list[str]:
    """The first step's whole setup, then what each further step changed."""
    lines: list[str] = []
    before: dict[str, str] = {}
    for step in steps:
        changed = {factor: value for factor, value in step["setup"].items() if before.get(factor) != value}
        words = ", ".join(f"{factor}: {value}" for factor, value in changed.items()) or "no setup on record"
        span = f"{step['start_s']:.1f} to {step['end_s']:.1f} s"
        indent = " " * 26
        lines.append(
            textwrap.fill(
                words, WIDTH, initial_indent=f"{step['index'] + 1:<6}{span:<20}", subsequent_indent=indent
            )
        )
        before = step["setup"]
    return lines
