"""Rows of more than a day are measured and let go of: memory has a bound, and the numbers stay."""

from __future__ import annotations

import pickle

import pytest

from telltick.engine import gathering, step_tally
from telltick.engine.digest import digest_session
from telltick.engine.measuring import SessionMeasurer
from telltick.model.measurement import Measurement, MeasuringOptions
from telltick.model.readings import Verdict
from telltick.sources.bench.script import Change
from telltick.store.session import SessionReader
from tests.engine.sessions import Hands, rendered, write_rendered

SECONDS = 180.0
FEW_ROWS, FOLD_S = 240, 10.0  # in place of a day, and of ten minutes
CLOSE_DB = 0.02
HANDS = (
    Hands(40.0, 42.0, "cable", "B"),
    Hands(84.0, 86.0, "cable", "A"),
    Hands(88.0, 89.0, "cable", "B"),
)
CHANGES = tuple(Change((one.begun_s + one.done_s) / 2, one.factor, one.value) for one in HANDS)


@pytest.fixture(scope="module")
def steady(tmp_path_factory):
    return write_rendered(tmp_path_factory.mktemp("steady") / "s", rendered(6, SECONDS))


@pytest.fixture(scope="module")
def changed(tmp_path_factory):
    return write_rendered(tmp_path_factory.mktemp("changed") / "s", rendered(7, SECONDS, CHANGES), HANDS)


@pytest.fixture(autouse=True)
def short_folds(monkeypatch):
    monkeypatch.setattr(step_tally, "FOLD_S", FOLD_S)
    monkeypatch.setattr(gathering, "CHUNK_S", 0.9 * FOLD_S)  # shorter than what is added up at once


@pytest.fixture
def small_day(monkeypatch):
    monkeypatch.setattr(gathering, "MOST_HELD", FEW_ROWS)
    monkeypatch.setattr(gathering, "FEWEST_LET_GO", 20)


def measured(folder) -> tuple[Measurement, SessionMeasurer]:
    with SessionReader(folder) as reader:
        measurer = SessionMeasurer(reader)
        return measurer.measure(), measurer


def assert_alike(found, whole) -> None:
    """The same reading but for hundredths of a decibel."""
    assert (found.polls, found.verdict, found.warnings) == (whole.polls, whole.verdict, whole.warnings)
    assert found.seconds == pytest.approx(whole.seconds)
    assert found.noise_dbfs == pytest.approx(whole.noise_dbfs, abs=CLOSE_DB)
    assert found.interference_dbfs == pytest.approx(whole.interference_dbfs, abs=CLOSE_DB)
    assert found.excess_db.value == pytest.approx(whole.excess_db.value, abs=CLOSE_DB)
    half, other = (one.excess_db.high - one.excess_db.low for one in (found, whole))
    assert half == pytest.approx(other, rel=0.2)


def test_a_long_step_reads_the_same_from_pieces_and_holds_few_rows(steady, request):
    whole, _ = measured(steady)
    request.getfixturevalue("small_day")
    found, measurer = measured(steady)
    (tally,) = measurer._gathering._tallies
    assert len(tally.let_go) > 2
    assert 0 < tally.held <= FEW_ROWS < tally.polls
    assert whole.whole.verdict is Verdict.TIED
    assert_alike(found.whole, whole.whole)
    assert found.whole == found.steps[0].reading
    assert found.answers.setups[0].reading == found.steps[0].reading


def test_it_does_not_matter_in_which_pieces_the_audio_came(steady, small_day, monkeypatch):
    once, _ = measured(steady)
    monkeypatch.setattr(gathering, "CHUNK_S", 7.0)
    again, _ = measured(steady)
    assert again.whole == once.whole
    assert [one.reading for one in again.steps] == [one.reading for one in once.steps]
    assert again.answers == once.answers


def test_steps_that_are_over_are_let_go_of_as_a_whole_and_compared_all_the_same(changed, request):
    whole, _ = measured(changed)
    request.getfixturevalue("small_day")
    found, measurer = measured(changed)
    rows, known = measurer.step_rows(), measurer.stretches()
    assert [one is None for one in rows] == [True, True, False, True]
    assert all(one is not None for one in known)
    assert sum(tally.held for tally in measurer._gathering._tallies) <= FEW_ROWS
    assert rows[2].polls < 20  # few enough to be held for good
    for here, there in zip(found.steps[:2], whole.steps[:2], strict=True):
        assert here.reading == there.reading
    assert found.whole.verdict is whole.whole.verdict is Verdict.TIED
    assert found.whole.warnings == whole.whole.warnings  # some polls are far louder than others
    assert found.whole.excess_db.value == pytest.approx(whole.whole.excess_db.value, abs=0.1)
    for one, other in zip(found.answers.changes, whole.answers.changes, strict=True):
        assert one.verdict == other.verdict
        assert one.excess_db.value == pytest.approx(other.excess_db.value, abs=0.05)
        assert one.interference_db.value == pytest.approx(other.interference_db.value, abs=0.05)
    for one, other in zip(found.answers.setups, whole.answers.setups, strict=True):
        assert one.steps == other.steps
        assert one.reading.excess_db.value == pytest.approx(other.reading.excess_db.value, abs=0.05)


def test_what_comparing_keeps_of_a_session_needs_no_rows(changed, small_day):
    found = digest_session(changed, "key", MeasuringOptions())
    assert [len(one.steps) for one in found.setups] == [2, 2]
    assert all(one.pure.heard for one in found.setups)


def test_what_is_kept_of_a_piece_takes_hardly_more_than_ten_polls_do(steady, small_day):
    _, measurer = measured(steady)
    (tally,) = measurer._gathering._tallies
    assert max(len(pickle.dumps(one)) for one in tally.let_go) < 2000
