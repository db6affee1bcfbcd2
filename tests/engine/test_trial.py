"""The coin trial of a session, from the journal and the audio to the odds."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from telltick.engine import live
from telltick.engine.live import LiveFeed
from telltick.engine.offline import measured_document
from telltick.engine.trial import TrialFollower
from telltick.model.clock import NS
from telltick.model.marks import MarkKind
from telltick.model.snapshot import View
from telltick.store.journal import Journal
from telltick.store.lock import hold
from telltick.store.session import SessionReader
from tests.engine.trials import LATENCY_S, RATE, write_trial

EVERYTHING = 10**9


def odds_of(folder):
    with SessionReader(folder) as reader:
        return TrialFollower(reader).read(EVERYTHING)


@pytest.fixture(scope="module")
def faint(tmp_path_factory):
    """Interference 6 dB below the noise, known latency, 150 cycles."""
    return write_trial(tmp_path_factory.mktemp("trial") / "s", -6.0)


@pytest.fixture
def faint_again(faint, tmp_path):
    """A copy of it to write in."""
    return Path(shutil.copytree(faint, tmp_path / "s"))


def forget_ending(folder):
    """As if it were still being recorded."""
    with closing(sqlite3.connect(folder / "journal.sqlite")) as db, db:
        db.execute("DELETE FROM ending")


def test_interference_below_the_noise_is_proved_in_half_a_minute(faint):
    found = odds_of(faint)
    assert (found.cycles, found.left_out, found.slots, found.running) == (150, 0, 5, False)
    assert found.p_value < 1e-6
    assert found.latency_s == pytest.approx(LATENCY_S, abs=0.002)
    assert found.difference_db.low < 10 * np.log10(1 + 10**-0.6) < found.difference_db.high
    assert found.warnings == ()


def test_without_interference_nothing_is_proved(tmp_path):
    found = odds_of(write_trial(tmp_path / "s", None))
    assert found.cycles == 150
    assert found.p_value > 0.01
    assert any("every latency is tried" in words for words in found.warnings)


def test_measuring_again_gives_the_same_digits(faint):
    first, second = (measured_document(faint)["trial"] for _ in range(2))
    assert first == second
    assert first["log10_e"] == odds_of(faint).log10_e


def test_a_live_view_sees_the_same_odds_grow(faint):
    with SessionReader(faint) as reader:
        follower = TrialFollower(reader)
        seen = [follower.read(second * RATE, second * NS) for second in range(15, 53)]
    assert seen[0] is None
    assert [one.running for one in seen if one][1:6] == [True] * 5
    counts = [one.cycles for one in seen if one]
    assert counts == sorted(counts)
    assert counts[10] == pytest.approx(50, abs=6)
    np.testing.assert_allclose(seen[-1].path_log10_e, odds_of(faint).path_log10_e, rtol=1e-9)


def test_a_replay_that_goes_back_forgets_what_was_to_come(faint):
    with SessionReader(faint) as reader:
        follower = TrialFollower(reader)
        later = follower.read(45 * RATE, 45 * NS)
        earlier = follower.read(30 * RATE, 30 * NS)
        assert earlier.cycles < later.cycles
        assert follower.read(15 * RATE, 15 * NS) is None


def test_without_polls_before_the_trial_every_latency_is_tried_and_the_right_one_wins(tmp_path):
    found = odds_of(write_trial(tmp_path / "s", 0.0, before_s=1.2, trial_s=20.0))
    assert found.p_value < 1e-6
    assert found.latency_s == pytest.approx(LATENCY_S, abs=0.011)  # tried every 10 ms


def add_change(folder, from_s, until_s):
    settled_ns = None if until_s is None else until_s * NS
    with Journal.open(folder) as journal:
        return journal.add_mark(
            t_ns=from_s * NS, settled_ns=settled_ns, kind=MarkKind.CHANGE, factor="cable", value="B"
        )


def test_hands_on_time_is_left_out(tmp_path):
    folder = write_trial(tmp_path / "s", -6.0, trial_s=16.0)
    add_change(folder, 30, 32)
    found = odds_of(folder)
    assert (found.cycles, found.left_out) == (80 - 11, 11)


def test_bytes_that_nobody_asked_for_leave_no_cycle_out_since_they_could_tell_the_draw(tmp_path):
    found = odds_of(write_trial(tmp_path / "s", -6.0, trial_s=16.0, foreign_s=(24.05, 24.1, 27.3)))
    assert (found.cycles, found.left_out) == (80, 0)


def test_a_mark_that_is_withdrawn_or_made_later_counts_no_cycle_twice(faint_again):
    mark = add_change(faint_again, 30, 36)
    with SessionReader(faint_again) as reader:
        follower = TrialFollower(reader)
        assert follower.read(42 * RATE, 42 * NS).left_out > 20
        with Journal.open(faint_again) as journal:
            journal.withdraw_mark(mark)
        reader.refresh()
        withdrawn = follower.read(EVERYTHING)
        assert (withdrawn.cycles, withdrawn.left_out) == (150, 0)
        np.testing.assert_allclose(withdrawn.path_log10_e, odds_of(faint_again).path_log10_e, rtol=1e-9)
        add_change(faint_again, 25, 28)
        reader.refresh()
        later = follower.read(EVERYTHING)
    np.testing.assert_allclose(later.path_log10_e, odds_of(faint_again).path_log10_e, rtol=1e-9)


def test_cycles_under_a_change_that_is_not_confirmed_yet_wait(faint_again):
    forget_ending(faint_again)
    add_change(faint_again, 30, None)
    waiting = odds_of(faint_again)
    assert waiting.cycles == pytest.approx(50, abs=1)
    assert waiting.left_out == 0


def test_cycles_in_a_gap_are_left_out_and_the_odds_of_both_sides_multiply(tmp_path):
    whole = odds_of(write_trial(tmp_path / "whole", 0.0, trial_s=20.0))
    broken = odds_of(write_trial(tmp_path / "gap", 0.0, trial_s=20.0, gap=(30.0, 33.0)))
    assert broken.cycles + broken.left_out == whole.cycles == 100
    assert 13 <= broken.left_out <= 25
    assert 10 < broken.log10_e < whole.log10_e


def test_draws_that_do_not_repeat_from_the_seed_prove_nothing(tmp_path):
    folder = write_trial(tmp_path / "s", 0.0, trial_s=5.0)
    db = sqlite3.connect(folder / "journal.sqlite")
    db.execute("UPDATE trial_slot SET slot = (slot + 1) % 5 WHERE cycle = 3")
    db.commit()
    db.close()
    found = odds_of(folder)
    assert (found.cycles, found.p_value) == (0, 1.0)
    assert "do not repeat from the seed" in found.warnings[0]


@pytest.mark.parametrize(
    "damage",
    ["cycle = cycle + 1000000000000", "slots = 0", "slot_ns = 1", "cycle_ns = cycle_ns * 1000", "leg = -leg"],
)
def test_nonsense_from_a_strangers_hand_does_no_harm(tmp_path, damage):
    folder = write_trial(tmp_path / "s", 0.0, trial_s=3.0)
    db = sqlite3.connect(folder / "journal.sqlite")
    db.execute(f"UPDATE trial_slot SET {damage}")
    db.commit()
    db.close()
    found = odds_of(folder)
    assert found is None or found.p_value <= 1.0


def test_a_session_without_a_trial_has_none(tmp_path):
    assert measured_document(write_trial(tmp_path / "s", 0.0, before_s=15.0, trial_s=0.0))["trial"] is None


def test_a_long_watch_keeps_few_bursts_of_a_trial_and_still_works_it_out_anew(tmp_path, monkeypatch):
    folder = write_trial(tmp_path / "s", -6.0, before_s=90.0, trial_s=30.0)
    mark = add_change(folder, 100, 106)
    forget_ending(folder)
    monkeypatch.setattr(live, "KEEP_NS", 5 * NS)
    monkeypatch.setattr(live, "FORGET_EVERY_NS", NS)
    monkeypatch.setattr(live, "KEEP_POLLS_NS", 5 * NS)
    with hold(folder):
        feed = LiveFeed(folder)
        assert feed.look(View()).trial.left_out > 20
        with SessionReader(folder) as whole:
            begins_ns = whole.burst_columns.start_ns
        wanted = (begins_ns > 20 * NS) & (begins_ns < 99 * NS) | (begins_ns > 116 * NS)
        assert len(feed._reader.burst_columns) <= np.count_nonzero(wanted)
        with Journal.open(folder) as journal:
            journal.withdraw_mark(mark)
        again = feed.look(View()).trial
        feed.close()
    known = odds_of(folder).path_log10_e
    assert again.left_out == 0
    assert len(again.path_log10_e) > 130
    np.testing.assert_allclose(again.path_log10_e, known[: len(again.path_log10_e)], rtol=1e-6)
