"""A session measured again and again as it grows: the same numbers as once at the end, for less work."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import nullcontext
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from telltick.engine.measuring import SessionMeasurer
from telltick.engine.measuring_beside import MeasuringBeside
from telltick.engine.offline import measured_document
from telltick.engine.replay import SavedFeed
from telltick.measure import account, sides
from telltick.measure.excess import measure_excess
from telltick.measure.on_air import calibration_from
from telltick.model.clock import NS, Anchor
from telltick.model.errors import CancelledError
from telltick.model.measurement import Measurement, MeasuringOptions
from telltick.model.on_air import CalibrationPoint, Environment
from telltick.model.readings import Verdict
from telltick.model.session import Ending
from telltick.model.snapshot import View
from telltick.sources.bench.script import Change
from telltick.store.journal import Journal
from telltick.store.lock import hold
from telltick.store.segments import AudioWriter
from telltick.store.session import SessionReader
from tests.engine.sessions import RATE, STARTED, Hands, add_marks, bench_facts, rendered, write_rendered

SHIPPED = next((Path(__file__).parents[2] / "recordings").glob("*larkfell*"))
HANDS = (Hands(16.0, 18.0, "antenna", "dummy load"), Hands(33.0, 35.0, "rf gain", "minimum"))
CHANGES = tuple(Change((one.begun_s + one.done_s) / 2, one.factor, one.value) for one in HANDS)
SECONDS = 48.0
ROUNDED_DB = 0.05  # what live and offline may differ by


class Growing:
    """A session that a recorder writes as time goes on."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(mode=0o700)
        self.folder, self._session = folder, rendered(4, SECONDS, CHANGES)
        self._journal, self._writer = Journal.create(folder, bench_facts()), AudioWriter(folder, RATE)
        self._at_s = 0.0

    def grow_to(self, until_s: float) -> None:
        """Record up to a time."""
        first, end = round(self._at_s * RATE), round(until_s * RATE)
        self._writer.write(self._session.audio[first:end])
        with self._journal.batch():
            for second in range(int(self._at_s), int(until_s)):
                self._journal.add_anchor(Anchor(0, second * RATE, second * NS, STARTED + second * NS))
            self._journal.add_bursts(
                burst for burst in self._session.bursts if self._at_s <= burst.end_ns / NS < until_s
            )
            add_marks(self._journal, (one for one in HANDS if self._at_s <= one.done_s < until_s))
        self._at_s = until_s

    def finish(self) -> None:
        """End the session."""
        self._journal.end(Ending(round(SECONDS * NS), "time is up"))
        self._journal.close()
        self._writer.close()


@pytest.fixture
def growing(tmp_path) -> Iterator[Growing]:
    session = Growing(tmp_path / "s")
    yield session
    session._journal.close()


@pytest.fixture(scope="module")
def saved(tmp_path_factory):
    return write_rendered(tmp_path_factory.mktemp("saved") / "s", rendered(4, SECONDS, CHANGES), HANDS)


@lru_cache(maxsize=8)
def measured(folder: Path, **said) -> Measurement:
    """A saved session measured once for all tests."""
    with SessionReader(folder) as reader:
        return SessionMeasurer(reader, MeasuringOptions(**said)).measure()


def levels(found: Measurement) -> list[tuple[float, float, float]]:
    readings = [one.reading for one in found.steps]
    return [(one.excess_db.value, one.noise_dbfs, one.interference_dbfs) for one in readings]


def test_a_session_measured_as_it_grew_reads_as_if_measured_at_the_end(growing):
    beside = MeasuringBeside(growing.folder)
    for until_s in (10.0, 26.0, 32.0, SECONDS):
        growing.grow_to(until_s)
        live = beside.measure(lambda _: True)
    growing.finish()
    live = beside.measure(lambda _: True)
    beside.close()
    once = measured(growing.folder)
    assert [one.step for one in live.steps] == [one.step for one in once.steps]
    np.testing.assert_allclose(levels(live), levels(once), atol=ROUNDED_DB)
    assert [one.reading.polls for one in live.steps] == [one.reading.polls for one in once.steps]
    assert [one.verdict for one in live.answers.findings] == [one.verdict for one in once.answers.findings]


def test_steps_that_are_over_are_not_read_again(growing, samples_read):
    beside = MeasuringBeside(growing.folder)
    growing.grow_to(44.0)
    before = beside.measure(lambda _: True)
    samples_read.clear()
    growing.grow_to(46.0)
    after = beside.measure(lambda _: True)
    beside.close()
    assert sum(samples_read) < 10 * RATE
    assert after.steps[0] is not before.steps[0]
    assert after.steps[0].reading == before.steps[0].reading
    assert after.steps[2].reading.seconds > before.steps[2].reading.seconds


def test_a_mark_that_is_undone_joins_its_steps_again(growing):
    beside = MeasuringBeside(growing.folder)
    growing.grow_to(32.0)
    assert len(beside.measure(lambda _: True).steps) == 2
    with Journal.open(growing.folder) as journal, SessionReader(growing.folder) as reader:
        journal.withdraw_mark(reader.marks[0])
    joined = beside.measure(lambda _: True)
    beside.close()
    assert len(joined.steps) == 1
    once = measured(growing.folder).steps[0].reading
    assert joined.steps[0].reading.polls == once.polls
    assert joined.steps[0].reading.excess_db.value == pytest.approx(once.excess_db.value, abs=ROUNDED_DB)


@pytest.mark.parametrize(
    ("alive", "where"), [(True, "on"), (False, "in a new session")], ids=["alive", "killed"]
)
def test_a_coin_trial_is_proposed_here_only_while_somebody_records(growing, alive, where):
    growing.grow_to(3)
    with hold(growing.folder) if alive else nullcontext(), SessionReader(growing.folder) as reader:
        tests = SessionMeasurer(reader).measure().answers.next_tests
    assert [one.value for one in tests if one.factor == "coin trial"] == [where]


def test_the_excess_of_a_step_is_worked_out_once_for_reading_and_comparison(tmp_path, monkeypatch):
    worked = []

    def counted(*args):
        worked.append(1)
        return measure_excess(*args)

    for module in (account, sides):
        monkeypatch.setattr(module, "measure_excess", counted)
    with SessionReader(write_rendered(tmp_path / "s", rendered())) as reader:
        found = SessionMeasurer(reader).measure()
    assert len(worked) == len(found.steps) == len(found.answers.setups) == 1
    assert found.whole == found.steps[0].reading


def test_the_rows_of_a_session_that_is_over_are_held_once(saved):
    with SessionReader(saved) as reader:
        measurer = SessionMeasurer(reader)
        measurer.measure()
        tallies = measurer._gathering._tallies
        for rows, tally in zip(measurer.step_rows(), tallies, strict=True):
            assert rows is not None
            again = tally.rows()
            for name in ("start_s", "active", "slots", "slot_row"):
                assert np.shares_memory(getattr(rows, name), getattr(again, name))


def test_who_gives_up_gets_the_same_numbers_later(saved):
    with SessionReader(saved) as reader:
        measurer = SessionMeasurer(reader)
        with pytest.raises(CancelledError):
            measurer.measure(lambda share: share < 0.3)
        again = measurer.measure()
    assert [one.reading for one in again.steps] == [one.reading for one in measured(saved).steps]


def test_progress_rises_from_nothing_to_nearly_all(saved):
    told: list[float] = []
    with SessionReader(saved) as reader:
        SessionMeasurer(reader).measure(lambda share: told.append(share) is None)
    assert told == sorted(told)
    assert 0 <= told[0] < 0.95 <= told[-1] <= 1


def test_a_closed_screen_lets_measuring_give_up(saved):
    beside = MeasuringBeside(saved)

    def closing(_share: float) -> bool:
        beside.close()
        return True

    with pytest.raises(CancelledError):
        beside.measure(closing)
    with pytest.raises(CancelledError):
        beside.measure(lambda _: True)


def test_measuring_keeps_no_transaction_open(growing):
    growing.grow_to(20.0)
    busy: list[int] = []

    def look(_share: float) -> bool:
        with sqlite3.connect(growing.folder / "journal.sqlite") as other:
            busy.append(other.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0])
        other.close()
        return True

    beside = MeasuringBeside(growing.folder)
    beside.measure(look)
    beside.close()
    assert busy
    assert not any(busy)


def test_the_screen_and_measuring_agree_on_a_step(saved):
    feed = SavedFeed(saved)
    feed.toggle()
    feed.seek(round(32.9 * NS))  # the end of the second step
    for _ in range(3):
        picture = feed.look(View())
    step = feed.measure(lambda _: True).steps[1].reading
    feed.close()
    assert picture.step.excess_db.value == pytest.approx(step.excess_db.value, abs=ROUNDED_DB)
    assert picture.step.noise_dbfs == pytest.approx(step.noise_dbfs, abs=ROUNDED_DB)
    assert picture.step.interference_dbfs == pytest.approx(step.interference_dbfs, abs=ROUNDED_DB)


def test_two_runs_give_the_same_digits_whatever_order_python_hashes_in():
    script = (
        "import json, sys; from pathlib import Path; from telltick.engine.offline import measured_document;"
        "print(json.dumps(measured_document(Path(sys.argv[1]))))"
    )
    runs = [
        subprocess.run(
            [sys.executable, "-c", script, str(SHIPPED)],
            env={"PYTHONHASHSEED": seed, "PYTHONPATH": ":".join(sys.path)},
            capture_output=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    ]
    assert json.loads(runs[0])["whole"]["verdict"] == "tied to polling"
    assert runs[0] == runs[1]


def test_a_latency_that_the_user_says_is_used_as_it_is(saved):
    searched, said = measured(saved), measured(saved, latency_s=0.063)
    assert said.latency.locked
    assert said.latency.seconds.value == 0.063
    np.testing.assert_allclose(levels(said), levels(searched), atol=0.2)
    wrong = measured(saved, latency_s=0.163)
    assert all(one.reading.verdict is not Verdict.TIED for one in wrong.steps)


def test_the_bound_that_the_user_says_judges_the_changes(saved):
    assert {one.bound_db for one in measured(saved, bound_db=3.0).answers.changes} == {3.0}


def test_levels_at_the_antenna_hold_only_with_the_gain_they_were_made_with(saved):
    point = CalibrationPoint(input_dbm=-73.0, audio_dbfs=-41.2)
    found = measured(saved, calibration=point, environment=Environment.RURAL)
    beam, dummy, low_gain = found.steps
    for one in (beam, dummy):
        assert one.on_air.noise_dbm == pytest.approx(-73 + 41.2 + one.reading.noise_dbfs)
        assert one.on_air.frequency_hz == pytest.approx(14.1e6)  # of the setup
    assert low_gain.on_air is None
    assert any("steps[2]: on_air: the calibration holds only with rf gain" in w for w in found.warnings)


def test_a_noise_figure_is_set_against_the_step_with_the_dummy_load(saved):
    point = CalibrationPoint(noise_figure_db=8.0)
    dummy = measured(saved, calibration=point, environment=Environment.RURAL).steps[1]
    expected = calibration_from(point, 14.1e6, dummy.reading.noise_dbfs)
    assert dummy.on_air.noise_dbm == pytest.approx(expected.input_dbm)


def test_without_a_calibration_there_are_no_levels_and_a_reason(saved):
    found = measured(saved)
    assert found.on_air is None
    assert any(text.startswith("on_air: there is no calibration") for text in found.warnings)


def test_the_sound_of_a_step_is_told_with_it(saved):
    beam, dummy, _ = measured(saved).steps
    assert dummy.heard.polled_db > dummy.heard.floor_db + 3
    assert dummy.heard.floor_db < beam.heard.floor_db - 3  # the dummy load quietens the band noise
    for one in (beam, dummy):
        assert (one.character.baud, str(one.character.framing)) == (9600, "8N1")  # of the bench
        assert one.portrait.polls >= 20
        assert one.more_s == 0


def test_the_bits_of_the_bench_are_heard_where_they_stand_out_most(saved):
    assert measured(saved).bits.heard


def test_audio_without_bytes_is_rhythmic_but_not_shown_to_be_polling(tmp_path):
    session = replace(rendered(4, 30.0), bursts=(), polls=())
    document = measured_document(write_rendered(tmp_path / "s", session))
    assert document["period"]["value_s"] == pytest.approx(0.2, rel=0.001)
    assert document["period"]["verdict"].startswith("rhythmic at 5.0")
    assert document["period"]["verdict"].endswith("not shown to be polling")
    assert document["period"]["reading"]["excess_db"]["low"] > 0
    assert document["whole"]["verdict"] == "not enough data"
