"""JSON objects against their published schemas.

The reference is the jsonschema package, an independent implementation of JSON Schema draft 2020-12.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from referencing import Registry, Resource

from telltick.export.json_out import MEASUREMENT, SESSION, measurement_document, schema, session_document
from telltick.export.json_warnings import PASSED_OVER
from telltick.model.clock import AudioClock
from telltick.model.on_air import CalibrationPoint, Environment, Place
from telltick.model.readings import Estimate, PollingFacts, Reading, Verdict
from tests.export.scene import ANSWERS, CHANGE, FACTS, FOUND, TRIAL, everything, measurement, session

SCHEMAS = {name: schema(name) for name in (MEASUREMENT, SESSION)}
REGISTRY = Registry().with_resources(
    (one["$id"], Resource.from_contents(one)) for one in SCHEMAS.values()
)  # fmt: skip


def problems(document: dict) -> list[str]:
    check = Draft202012Validator(
        SCHEMAS[document["schema"]],
        registry=REGISTRY,
        format_checker=Draft202012Validator.FORMAT_CHECKER,
    )
    return [f"{error.json_path}: {error.message}" for error in check.iter_errors(document)]


@pytest.mark.parametrize("name", SCHEMAS)
def test_the_schema_itself_is_valid(name):
    Draft202012Validator.check_schema(SCHEMAS[name])


@pytest.mark.parametrize("make", [measurement_document, session_document])
def test_a_full_document_keeps_to_its_schema(make):
    assert problems(make(session(), measurement())) == []


@pytest.mark.parametrize("make", [measurement_document, session_document])
def test_a_session_of_nothing_keeps_to_its_schema(make):
    empty = session(
        clock=AudioClock(48_000), samples=0, bursts=(), marks=session().marks, gaps=(), ending=None
    )
    nothing = measurement(
        polling=PollingFacts(0, None, None, None, "", 0.0), latency=None, whole=Reading(0, 0.0), steps=()
    )
    assert problems(make(empty, nothing)) == []


def test_a_coin_trial_is_written_with_the_seed_that_repeats_it():
    document = session_document(session(), measurement(trial=TRIAL))
    assert problems(document) == []
    trial = document["measurement"]["trial"]
    assert (trial["cycles"], trial["left_out"], trial["slots"], trial["seed"]) == (84, 2, 16, 7)
    assert trial["p_value"] == pytest.approx(10**-4.3)
    assert "trial: Said once." in document["measurement"]["warnings"]


def test_a_document_with_everything_in_it_keeps_to_its_schema():
    calibrated = replace(
        FACTS,
        calibration=CalibrationPoint(s_meter="S9", audio_dbfs=-41.2),
        place=Place(environment=Environment.RURAL),
    )
    document = session_document(session(facts=calibrated), everything())
    assert problems(document) == []
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    assert document["session"]["calibration"] == {"s_meter": "S9", "audio_dbfs": -41.2, "how": ""}
    found = document["measurement"]
    assert found["changes"][0]["verdict"] == "no change within 1 dB"
    assert found["changes"][0]["difference_db"] == {"value": 0.1, "low": -0.1, "high": 0.3}
    assert found["findings"][0]["verdict"] == "ruled out"
    assert found["portrait"]["curve"]["high"][-1] is None
    assert "curve" not in found["steps"][0]["portrait"]
    assert found["steps"][1]["more_s"] == 12.4
    assert found["period"]["verdict"] == (
        "rhythmic at 5.0000 per second, excess +4.8 dB (+4.6 to +5.0) over 36 ms of each beat; "
        "not shown to be polling"
    )


def test_a_change_carries_the_bound_it_was_judged_by():
    wide = replace(ANSWERS, changes=(replace(CHANGE, bound_db=2.5),))
    document = measurement_document(session(), measurement(answers=wide))
    assert problems(document) == []
    assert document["changes"][0]["verdict"] == "no change within 2.5 dB"


def test_what_is_not_told_of_a_tied_step_has_a_reason():
    said = measurement_document(session(), measurement())["warnings"]
    for reason in (
        "steps[0]: heard:",
        "steps[0]: character_rate:",
        "steps[0]: portrait:",
        "bits:",
        "coherent:",
        "on_air:",
    ):
        assert any(text.startswith(reason) for text in said), reason
    assert not any(text.startswith("steps[1]: portrait:") for text in said)  # the verdict explains it


def test_a_step_that_was_passed_over_says_so_and_not_that_nothing_was_found():
    told = measurement()
    passed = replace(told, steps=tuple(replace(one, passed_over=True) for one in told.steps))
    said = measurement_document(session(), passed)["warnings"]
    sentence = f"steps[0]: heard, character_rate, portrait: {PASSED_OVER}"
    assert sentence in said
    assert not any("steps[0]: character_rate:" in text for text in said)


def strict(node: object, *, part: bool = False) -> object:
    """The schema with every key forbidden that it does not describe.

    Args:
        node: a schema, or something inside one.
        part: the schema is joined with others, so that it alone does not know all keys.
    """
    if isinstance(node, list):
        return [strict(one) for one in node]
    if not isinstance(node, dict):
        return node
    out = {key: strict(value) for key, value in node.items()}
    for key in ("properties", "$defs"):
        if key in node:
            out[key] = {name: strict(one, part=key == "$defs") for name, one in node[key].items()}
    if "allOf" in node:
        out["allOf"] = [strict(one, part=True) for one in node["allOf"]]
    whole = not part and node.keys() & {"properties", "allOf", "$ref"} and "additionalProperties" not in node
    return {**out, "unevaluatedProperties": False} if whole else out


def test_no_key_is_written_that_the_schema_does_not_describe():
    strictly = {name: strict(one) for name, one in SCHEMAS.items()}
    registry = Registry().with_resources(
        (one["$id"], Resource.from_contents(one)) for one in strictly.values()
    )
    check = Draft202012Validator(strictly[SESSION], registry=registry)
    document = session_document(session(), everything())
    assert [error.message for error in check.iter_errors(document)] == []
    document["measurement"]["steps"][0]["surprise"] = 1
    assert [error.json_path for error in check.iter_errors(document)] == ["$.measurement.steps[0]"]


def properties(node: object):
    if isinstance(node, dict):
        yield from node.get("properties", {}).items() if isinstance(node.get("properties"), dict) else ()
        for one in node.values():
            yield from properties(one)
    elif isinstance(node, list):
        for one in node:
            yield from properties(one)


@pytest.mark.parametrize("name", SCHEMAS)
def test_every_key_of_the_schema_says_what_it_means(name):
    silent = [key for key, one in properties(SCHEMAS[name]) if not (one.get("description") or "$ref" in one)]
    assert silent == []


def test_the_measurement_has_the_keys_that_scripts_rely_on():
    document = measurement_document(session(), measurement())
    assert list(document) == [
        "schema", "session", "audio", "polling", "latency_ms", "whole", "steps", "changes", "findings",
        "period", "trial", "setups", "next_tests", "comparisons", "heard", "portrait", "character_rate",
        "bits", "coherent", "on_air", "warnings",
    ]  # fmt: skip
    assert document["schema"] == "telltick.measurement/1"
    assert list(document["latency_ms"]) == ["value", "low", "high", "drift_ppm", "modulo_ms", "locked"]
    assert document["latency_ms"]["value"] == pytest.approx(42.1)
    assert document["whole"]["excess_db"] == {"value": 4.8, "low": 4.6, "high": 5.0}
    assert document["whole"]["verdict"] == "tied to polling"


def test_step_times_are_seconds_of_audio():
    steps = measurement_document(session(), measurement())["steps"]
    # Audio begins at session second 1, and 5 s of it are lost in the gap.
    assert [(step["start_s"], step["end_s"]) for step in steps] == [(0.0, 9.0), (13.0, 60.0)]


def test_a_value_that_cannot_be_had_is_null_and_the_warnings_say_why():
    bare = Reading(40, 20.0, -52.0, verdict=Verdict.NO_TIE, excess_db=Estimate(0.0, -0.1, 0.1), p_value=1.0)
    document = measurement_document(session(), measurement(latency=None, whole=bare))
    assert document["latency_ms"] is None
    assert document["whole"]["upper_limit_i_over_n_db"] is None
    assert document["period"] is None
    said = document["warnings"]
    assert any(text.startswith("latency_ms:") for text in said)
    assert any(text.startswith("whole: upper_limit_i_over_n_db") for text in said)
    assert any(text.startswith("steps[1]: Not enough polls") for text in said)
    assert any(text.startswith("period:") for text in said)


def test_what_the_verdict_explains_needs_no_warning():
    tied = measurement_document(session(), measurement(steps=(), whole=replace(FOUND, warnings=())))
    assert [text for text in tied["warnings"] if "whole" in text] == []


numbers = st.none() | st.floats(allow_nan=True, allow_infinity=True)


@given(numbers, numbers, numbers, st.none() | st.floats(0, 1))
def test_no_number_however_wild_makes_bad_json(noise, interference, ratio, p_value):
    reading = Reading(1, 1.0, noise, interference, None, ratio, p_value=p_value)
    document = measurement_document(session(), measurement(whole=reading, steps=()))
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    assert problems(document) == []


def test_a_poll_plan_with_infinite_numbers_still_is_json():
    wild = replace(FACTS, poll={"interval_s": math.inf, "list": [math.nan, {"a": 1.5}]})
    document = measurement_document(session(facts=wild), measurement())
    assert document["session"]["poll_plan"] == {"interval_s": None, "list": [None, {"a": 1.5}]}


def test_the_journal_keeps_withdrawn_marks_apart_from_standing_ones():
    journal = session_document(session(), measurement())["journal"]
    assert [mark["number"] for mark in journal["marks"]] == [1, 2, 3, 4]
    assert [(one["row"], one["number"], one["withdrawn"]) for one in journal["history"]] == [
        (1, 1, False), (2, 2, False), (3, 1, True),
    ]  # fmt: skip
    assert journal["marks"][0]["settled_s"] == 13.0
    assert journal["marks"][0]["utc"] == "2026-05-02T19:03:10.000Z"
    assert journal["marks"][3]["settled_s"] is None
    assert journal["marks"][3]["late"] is True


def test_a_request_without_an_outcome_is_pending():
    requests = session_document(session(), measurement())["journal"]["requests"]
    assert [(one["verb"], one["done"]) for one in requests] == [("set baud", True), ("finish", None)]


def test_times_beyond_the_calendar_are_null():
    facts = session_document(session(facts=replace(FACTS, started_wall_ns=2**62 * 1000)), measurement())
    assert facts["session"]["started_utc"] is None
