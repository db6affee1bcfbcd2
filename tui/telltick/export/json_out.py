"""Sessions and measurements as JSON objects; `schemas/` describes every key with its unit."""

from __future__ import annotations

import json
import math
from importlib import resources
from typing import Any

from telltick.export.values import audio_s, number, span_s, wall_utc
from telltick.model.document import SessionDocument
from telltick.model.marks import Mark
from telltick.model.measurement import Measurement, StepReading
from telltick.model.readings import (
    Estimate,
    Latency,
    PollingFacts,
    Reading,
    TrialReading,
    Verdict,
)
from telltick.model.session import SCHEMA, Gap

MEASUREMENT = "telltick.measurement/1"
SESSION = "telltick.session/1"

_MAY_LACK = (
    "noise_dbfs", "interference_dbfs", "excess_db", "i_over_n_db", "p_value", "upper_limit_i_over_n_db",
)  # fmt: skip
_NOT_FOR: dict[Verdict, set[str]] = {
    Verdict.TIED: {"upper_limit_i_over_n_db"},
    Verdict.NO_TIE: {"interference_dbfs", "i_over_n_db"},
    Verdict.TOO_FEW: set(),
}
_NO_PERIOD = "period: the repetition period is not looked for in the audio."


def schema(name: str) -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of an object that telltick writes.

    Args:
        name: `MEASUREMENT` or `SESSION`.
    """
    file = name.removeprefix("telltick.").replace("/", "-") + ".json"
    text = resources.files("telltick.export").joinpath("schemas", file).read_text(encoding="utf-8")
    read: dict[str, Any] = json.loads(text)
    return read


def measurement_document(session: SessionDocument, measurement: Measurement) -> dict[str, Any]:
    """The object that ``measure --json`` prints: plain values at full precision.

    What cannot be had is None, and `warnings` says why.
    """
    steps = [_step(session, one) for one in measurement.steps]
    return {
        "schema": MEASUREMENT,
        "session": session_facts(session),
        "audio": {
            "sample_rate": session.facts.rate_hz,
            "seconds": session.seconds,
            "gaps": [_gap(session, gap) for gap in session.gaps],
        },
        "polling": _polling(measurement.polling),
        "latency_ms": _latency(measurement.latency),
        "whole": _reading(measurement.whole),
        "steps": steps,
        "changes": [],
        "findings": [],
        "period": None,
        "trial": _trial(measurement.trial),
        "warnings": _warnings(measurement),
    }


def session_document(session: SessionDocument, measurement: Measurement) -> dict[str, Any]:
    """The object that ``export --to json`` writes: the facts, the whole journal, and the measurement."""
    return {
        "schema": SESSION,
        "session": session_facts(session),
        "journal": {
            "marks": [_mark(session, mark) for mark in session.marks],
            "history": [
                {"row": row.row, "withdrawn": row.withdrawn, **_mark(session, row.mark)}
                for row in session.mark_rows
            ],
            "gaps": [_gap(session, gap) for gap in session.gaps],
            "requests": _requests(session),
            "health": [
                {
                    **_moment(session, note.t_ns),
                    "kind": note.kind,
                    "value": number(note.value),
                    "note": note.note,
                }
                for note in session.health
            ],
        },
        "measurement": measurement_document(session, measurement),
    }


def session_facts(session: SessionDocument) -> dict[str, Any]:
    """How the session was opened, and how it ended."""
    facts, ending = session.facts, session.ending
    return {
        "folder": session.name,
        "folder_schema": SCHEMA,
        "name": facts.name,
        "started_utc": wall_utc(facts),
        "utc_offset_s": facts.utc_offset_s,
        "ended_utc": wall_utc(facts, ending.t_ns) if ending else None,
        "ending": ending.how if ending else None,
        "ending_note": ending.note if ending else "",
        "source": facts.source,
        "audio_name": facts.audio_name,
        "port": facts.port,
        "poll_plan": _finite(facts.poll),
        "setup": dict(facts.setup),
        "seed": facts.seed,
        "program": facts.program,
        "versions": dict(facts.versions),
        "host": facts.host,
    }


def _moment(session: SessionDocument, t_ns: int) -> dict[str, Any]:
    return {"time_s": audio_s(session, t_ns), "t_ns": t_ns, "utc": wall_utc(session.facts, t_ns)}


def _mark(session: SessionDocument, mark: Mark) -> dict[str, Any]:
    return {
        "number": mark.number,
        **_moment(session, mark.t_ns),
        "settled_s": audio_s(session, mark.settled_ns),
        "settled_ns": mark.settled_ns,
        "kind": str(mark.kind),
        "factor": mark.factor,
        "value": mark.value,
        "note": mark.note,
        "origin": str(mark.origin),
        "late": mark.late,
    }


def _gap(session: SessionDocument, gap: Gap) -> dict[str, Any]:
    return {
        "kind": str(gap.kind),
        "at_s": gap.sample / session.facts.rate_hz,
        "sample": gap.sample,
        "utc": wall_utc(session.facts, gap.start_ns),
        "missing_s": span_s(gap.start_ns, gap.end_ns),
        "note": gap.note,
    }


def _requests(session: SessionDocument) -> list[dict[str, Any]]:
    outcomes = {outcome.request: outcome for outcome in session.outcomes}
    rows = []
    for request in session.requests:
        outcome = outcomes.get(request.number)
        rows.append(
            {
                **_moment(session, request.t_ns),
                "verb": str(request.verb),
                "value": request.value,
                "done": outcome.done if outcome else None,
                "note": outcome.note if outcome else "",
            }
        )
    return rows


def _polling(polling: PollingFacts) -> dict[str, Any]:
    return {
        "polls": polling.polls,
        "interval_s": {
            "median": number(polling.interval_median_s),
            "sd": number(polling.interval_sd_s),
        },
        "baud": polling.baud,
        "framing": polling.framing or None,
        "byte_on_fraction": number(polling.byte_on_fraction),
    }


def _latency(latency: Latency | None) -> dict[str, Any] | None:
    seconds = _estimate(latency.seconds) if latency is not None else None
    if latency is None or seconds is None:
        return None
    modulo_s = latency.modulo_s
    return {
        **{key: 1000 * value for key, value in seconds.items()},
        "drift_ppm": number(latency.drift_ppm),
        "modulo_ms": None if modulo_s is None else 1000 * modulo_s,
    }


def _estimate(estimate: Estimate | None) -> dict[str, float] | None:
    """A value with its interval; null unless all three are numbers."""
    if estimate is None or not all(map(math.isfinite, (estimate.value, estimate.low, estimate.high))):
        return None
    return {"value": estimate.value, "low": estimate.low, "high": estimate.high}


def _reading(reading: Reading) -> dict[str, Any]:
    return {
        "polls": reading.polls,
        "seconds": reading.seconds,
        "noise_dbfs": number(reading.noise_dbfs),
        "interference_dbfs": number(reading.interference_dbfs),
        "excess_db": _estimate(reading.excess_db),
        "i_over_n_db": number(reading.i_over_n_db),
        "verdict": str(reading.verdict),
        "p_value": number(reading.p_value),
        "upper_limit_i_over_n_db": number(reading.upper_limit_i_over_n_db),
        "warnings": list(reading.warnings),
    }


def _trial(trial: TrialReading | None) -> dict[str, Any] | None:
    if trial is None:
        return None
    return {
        "running": trial.running,
        "cycles": trial.cycles,
        "left_out": trial.left_out,
        "slots": trial.slots,
        "slot_s": trial.slot_s,
        "seed": trial.seed,
        "log10_e": number(trial.log10_e),
        "highest_log10_e": number(trial.highest_log10_e),
        "p_value": number(trial.p_value),
        "difference_db": _estimate(trial.difference_db),
        "latency_ms": None if trial.latency_s is None else 1000 * trial.latency_s,
        "warnings": list(trial.warnings),
    }


def _step(session: SessionDocument, one: StepReading) -> dict[str, Any]:
    step = one.step
    return {
        "index": step.index,
        "start_s": audio_s(session, step.start_ns),
        "end_s": audio_s(session, step.end_ns),
        "setup": dict(step.setup),
        "changed": list(step.changed),
        **_reading(one.reading),
    }


def _warnings(measurement: Measurement) -> list[str]:
    """Why values are missing or doubtful, each said once."""
    said = list(measurement.warnings)
    if measurement.latency is None and not any(text.startswith("latency_ms") for text in said):
        said.append("latency_ms: no latency was found.")
    if measurement.polling.interval_median_s is None:
        said.append("polling.interval_s: it needs at least two polls.")
    if measurement.polling.baud is None:
        said.append("polling.baud: the character rate is not known, or was changed during the session.")
    if not measurement.polling.framing:
        said.append("polling.framing: the character framing is not known.")
    readings = [("whole", measurement.whole)]
    readings += [(f"steps[{one.step.index}]", one.reading) for one in measurement.steps]
    for name, reading in readings:
        explained = reading.verdict is Verdict.TOO_FEW and reading.warnings
        texts = reading.warnings if explained else (*reading.warnings, *_missing(reading))
        said += [f"{name}: {text}" for text in texts]
    if measurement.trial is not None:
        said += [f"trial: {text}" for text in measurement.trial.warnings]
    return list(dict.fromkeys([*said, _NO_PERIOD]))


def _missing(reading: Reading) -> list[str]:
    """The values that a reading lacks, in words, unless its verdict itself explains them."""
    lacking = [
        name for name in _MAY_LACK if getattr(reading, name) is None and name not in _NOT_FOR[reading.verdict]
    ]
    if not lacking:
        return []
    why = "there is not enough data" if reading.verdict is Verdict.TOO_FEW else "it could not be told"
    return [f"{', '.join(lacking)}: {why}."]


def _finite(value: Any) -> Any:
    """JSON values without infinities, which JSON cannot hold."""
    if isinstance(value, float):
        return number(value)
    if hasattr(value, "items"):
        return {key: _finite(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(inner) for inner in value]
    return value
