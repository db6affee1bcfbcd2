"""Sessions and measurements as JSON objects; `schemas/` describes every key with its unit."""

from __future__ import annotations

import json
from dataclasses import asdict
from importlib import resources
from typing import Any

from telltick.export import results_json as results
from telltick.export.json_warnings import json_warnings
from telltick.export.values import audio_s, number, span_s, utc, wall_utc
from telltick.model.document import SessionDocument
from telltick.model.marks import Mark
from telltick.model.measurement import Measurement, StepReading
from telltick.model.on_air import CalibrationPoint, Place
from telltick.model.readings import Latency, PollingFacts, TrialReading
from telltick.model.replies import Replies
from telltick.model.session import SCHEMA, Gap

MEASUREMENT = "telltick.measurement/1"
SESSION = "telltick.session/1"


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
    answers = measurement.answers
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
        "whole": results.reading(measurement.whole),
        "steps": [_step(session, one) for one in measurement.steps],
        "changes": [results.change(one) for one in answers.changes],
        "findings": [results.finding(one) for one in answers.findings],
        "period": results.period(measurement.period),
        "trial": _trial(measurement.trial),
        "setups": [results.setup(one) for one in answers.setups],
        "next_tests": [results.next_test(one) for one in answers.next_tests],
        "comparisons": answers.comparisons,
        "heard": results.heard(measurement.heard),
        "portrait": results.portrait(measurement.portrait, curve=True),
        "character_rate": results.character_rate(measurement.character),
        "bits": results.bits(measurement.bits),
        "coherent": results.coherent(measurement.coherent),
        "on_air": results.on_air(measurement.on_air),
        "warnings": json_warnings(measurement),
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
        "imported_utc": utc(facts.started_wall_ns) if facts.imported else None,
        "recorded": facts.recorded,
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
        "calibration": _plain(facts.calibration),
        "place": _plain(facts.place),
    }


def _plain(said: CalibrationPoint | Place | None) -> dict[str, Any] | None:
    """What a station profile says, keys as there; what it does not say is left out."""
    return None if said is None else {key: value for key, value in asdict(said).items() if value is not None}


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
        "replies": _replies(polling.replies),
    }


def _replies(counted: Replies | None) -> dict[str, Any] | None:
    if counted is None:
        return None
    timed = counted.median_ms is not None
    return {
        "sent": counted.sent,
        "replies": counted.replies,
        "timeouts": counted.timeouts,
        "errors": counted.errors,
        "late": counted.late,
        "garbage": counted.garbage,
        "echo": counted.echo,
        "reply_ms": {"median": number(counted.median_ms), "p95": number(counted.p95_ms)} if timed else None,
    }


def _latency(latency: Latency | None) -> dict[str, Any] | None:
    seconds = results.estimate(latency.seconds) if latency is not None else None
    if latency is None or seconds is None:
        return None
    modulo_s = latency.modulo_s
    return {
        **{key: 1000 * value for key, value in seconds.items()},
        "drift_ppm": number(latency.drift_ppm),
        "modulo_ms": None if modulo_s is None else 1000 * modulo_s,
        "locked": latency.locked,
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
        "difference_db": results.estimate(trial.difference_db),
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
        **results.reading(one.reading),
        "more_s": number(one.more_s),
        "heard": results.heard(one.heard),
        "character_rate": results.character_rate(one.character),
        "portrait": results.portrait(one.portrait, curve=False),
        "on_air": results.on_air(one.on_air),
    }


def _finite(value: Any) -> Any:
    """JSON values without infinities, which JSON cannot hold."""
    if isinstance(value, float):
        return number(value)
    if hasattr(value, "items"):
        return {key: _finite(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(inner) for inner in value]
    return value
