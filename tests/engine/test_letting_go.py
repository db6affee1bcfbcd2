"""Rows of more than a day are measured and let go of: memory has a bound, and the numbers stay."""

from __future__ import annotations

import pickle
import tracemalloc
from dataclasses import replace
from pathlib import Path

import pytest

from telltick.engine import gathering, step_tally
from telltick.engine.digest import digest_session
from telltick.engine.measuring import SessionMeasurer
from telltick.model.clock import NS, Anchor
from telltick.model.measurement import Measurement, MeasuringOptions
from telltick.model.readings import Verdict
from telltick.model.session import Ending
from telltick.sources.bench.offline import RenderedSession
from telltick.sources.bench.script import Change
from telltick.store import bursts_on_disk
from telltick.store.journal import Journal
from telltick.store.session import SessionReader
from tests.engine.sessions import (
    RATE,
    STARTED,
    Hands,
    add_marks,
    bench_facts,
    moved,
    rendered,
    write_audio,
    write_rendered,
)

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


@pytest.mark.parametrize("marks", [0, 5])
def test_rows_held_do_not_grow_with_the_session(tmp_path, small_day, marks):
    """Twice and three times the length, with marks or without, holds no more rows than a day does."""
    minute, held = rendered(9, 60.0), []
    for minutes in (5, 10, 15):
        folder = write_minutes(tmp_path / f"{minutes}", minute, minutes, marks)
        _, measurer = measured(folder)
        tallies = measurer._gathering._tallies
        held.append(sum(tally.held for tally in tallies))
        assert sum(tally.polls for tally in tallies) > 4 * 60 * minutes
    assert max(held) <= FEW_ROWS


def test_an_hour_more_of_session_takes_few_bytes_of_each_poll(tmp_path, monkeypatch):
    """Counted as Python and NumPy take them; the clock alone holds 45 bytes for each second."""
    monkeypatch.setattr(bursts_on_disk, "MOST_HELD", 10_000)
    minute, taken = rendered(9, 60.0), []
    for minutes in (60, 180):
        folder = write_minutes(tmp_path / f"{minutes}", minute, minutes)
        with SessionReader(folder, sparing=True):
            pass  # what it imports stays
        tracemalloc.start()
        with SessionReader(folder, sparing=True) as reader:
            assert reader.clock.t_ns(0) == 0
            taken.append(tracemalloc.get_traced_memory())
            polls = len(reader.polls)
        tracemalloc.stop()
    held, most = ((after - before) / (polls * 2 / 3) for before, after in zip(*taken, strict=True))
    assert held < 20
    assert most < 30


def write_minutes(folder: Path, minute: RenderedSession, minutes: int, marks: int = 0) -> Path:
    """A minute over and over, with cables changed now and then."""
    folder.mkdir(mode=0o700)
    write_audio(folder, [minute.audio] * min(minutes, 15))
    polls = len(minute.polls)
    with Journal.create(folder, bench_facts()) as journal, journal.batch():
        for second in range(minutes * 60):
            journal.add_anchor(Anchor(0, second * RATE, second * NS, STARTED + second * NS))
        for number in range(minutes):
            by_ns = number * 60 * NS
            journal.add_bursts(moved(minute.bursts, by_ns, number * polls))
            for poll in minute.polls:
                journal.add_poll(
                    replace(poll, number=poll.number + number * polls, due_ns=poll.due_ns + by_ns)
                )
        each_s = 60.0 * minutes / (marks + 1)
        add_marks(
            journal, [Hands(k * each_s, k * each_s + 1, "cable", "BA"[k % 2]) for k in range(1, marks + 1)]
        )
        journal.end(Ending(minutes * 60 * NS, "time is up"))
    return folder
