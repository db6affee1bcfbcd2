"""Measuring a saved session from end to end, checked against what is true of the simulated bench."""

from __future__ import annotations

import numpy as np
import pytest

from telltick.engine.offline import measure_session, measured_document
from telltick.model.readings import Verdict
from telltick.sources.bench.script import Change
from telltick.store.session import SessionReader
from tests.engine.sessions import Hands, rendered, write_rendered, write_with_gap

HANDS = (
    Hands(20.0, 24.0, "antenna", "dummy load"),
    Hands(44.0, 47.0, "antenna", "beam"),
)


@pytest.fixture(scope="module")
def stepped(tmp_path_factory):
    """Beam, dummy load, beam; the change is made in the middle of the hands-on time."""
    changes = tuple(Change((one.begun_s + one.done_s) / 2, one.factor, one.value) for one in HANDS)
    session = rendered(4, 66.0, changes)
    folder = write_rendered(tmp_path_factory.mktemp("stepped") / "s", session, HANDS)
    with SessionReader(folder) as reader:
        yield session, measure_session(reader)


def test_each_step_is_measured_for_itself_without_the_hands_on_time(stepped):
    session, found = stepped
    assert [one.step.setup["antenna"] for one in found.steps] == ["beam", "dummy load", "beam"]
    spans = [(one.step.start_ns / 1e9, one.step.end_ns / 1e9) for one in found.steps]
    assert np.allclose(spans, [(0, 20), (24, 44), (47, 66)], atol=0.01)
    for one, truth in zip(found.steps, session.truth, strict=True):
        assert one.reading.verdict is Verdict.TIED
        assert one.reading.excess_db.value == pytest.approx(truth.excess_db, abs=0.3)
        assert one.reading.noise_dbfs == pytest.approx(truth.noise_dbfs, abs=0.3)


def test_what_changed_is_told_with_each_step(stepped):
    _, found = stepped
    assert [one.step.changed for one in found.steps] == [(), ("antenna",), ("antenna",)]


def test_the_whole_holds_the_polls_of_its_steps_and_no_others(stepped):
    _, found = stepped
    assert found.whole.polls == sum(one.reading.polls for one in found.steps)
    assert found.whole.polls < found.polling.polls - 20  # seven seconds of hands-on time at 5 polls/s


def test_no_interference_is_no_tie_with_an_upper_limit(tmp_path):
    quiet = rendered(5, 40.0, (Change(0.0, "antenna", "beam"),))
    audio = np.random.default_rng(8).normal(0, 300, len(quiet.audio)).astype(np.int16)
    silent = type(quiet)(audio, quiet.rate_hz, quiet.bursts, quiet.polls, quiet.latency_s, quiet.truth)
    found = measured_document(write_rendered(tmp_path / "s", silent))
    assert found["whole"]["verdict"] == "no tie found"
    assert found["whole"]["upper_limit_i_over_n_db"] < 0
    assert found["latency_ms"] is None
    assert any(warning.startswith("latency_ms") for warning in found["warnings"])


def test_a_step_with_polling_off_is_a_control_that_asks_for_no_polls(tmp_path):
    hands = (Hands(15.0, 15.0, "polling", "off"),)
    session = rendered(6, 30.0, (Change(15.0, "polling", "off"),))
    found = measured_document(write_rendered(tmp_path / "s", session, hands))
    on, off = found["steps"]
    assert on["verdict"] == "tied to polling"
    assert off["verdict"] == "control, no polls"
    assert not any("needed" in warning for warning in found["warnings"])
    assert off["excess_db"] is None
    # Stopping the polling stops the noise at once: common practice, no source.
    assert off["noise_dbfs"] == pytest.approx(session.truth[0].noise_dbfs, abs=0.3)


def test_both_sides_of_a_gap_are_measured_each_at_its_own_latency(tmp_path):
    before, after = rendered(2, 30.0, latency_s=0.050), rendered(3, 30.0, latency_s=0.090)
    folder = write_with_gap(tmp_path / "s", before, after, gap_s=4.0)
    found = measured_document(folder)
    truths = [session.truth[0].excess_db for session in (before, after)]
    assert found["whole"]["polls"] > 0.95 * (len(before.polls) + len(after.polls))
    assert found["whole"]["excess_db"]["value"] == pytest.approx(np.mean(truths), abs=0.3)
    assert found["audio"]["gaps"] == [
        {
            "kind": "device lost",
            "at_s": 30.0,
            "sample": 30 * before.rate_hz,
            "utc": found["audio"]["gaps"][0]["utc"],
            "missing_s": 4.0,
            "note": "unplugged",
        }
    ]
    assert "Audio is missing in 1 place." in found["warnings"]


def test_a_session_without_polls_measures_its_noise(tmp_path):
    session = rendered(6, 30.0, (Change(15.0, "polling", "off"),))
    alone = type(session)(session.audio[16 * session.rate_hz :], session.rate_hz, (), (), 0.0, session.truth)
    found = measured_document(write_rendered(tmp_path / "s", alone))
    assert found["whole"]["verdict"] == "not enough data"
    assert found["whole"]["noise_dbfs"] == pytest.approx(session.truth[0].noise_dbfs, abs=0.3)
    assert any("No serial traffic" in warning for warning in found["warnings"])
