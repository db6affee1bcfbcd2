"""A coin trial that the asking program ends at set odds, no screen being there."""

from __future__ import annotations

import sqlite3
from contextlib import ExitStack, closing

import pytest

from telltick.engine import awaiting
from telltick.engine.awaiting import trial_until
from telltick.model.errors import BadInputError
from telltick.store.lock import hold
from tests.engine.test_trial import forget_ending
from tests.engine.trials import write_trial


@pytest.fixture
def asked(monkeypatch):
    """What the recorder was asked for; it is another program's, and does as it is told."""
    said = []

    def ask(folder, word):
        said.append(word)
        return "coin trial: off"

    monkeypatch.setattr(awaiting, "ask", ask)
    return said


def trial_under_way(folder, ratio_db):
    """A session whose journal tells of a trial, and of no end."""
    written = write_trial(folder / "s", ratio_db)
    with closing(sqlite3.connect(written / "journal.sqlite")) as journal, journal:
        journal.execute("DELETE FROM mark WHERE value = 'off'")
        journal.execute("DELETE FROM ending")
    return written


def test_at_the_set_odds_the_trial_is_ended_and_the_odds_are_said(tmp_path, asked):
    folder = trial_under_way(tmp_path, 0.0)
    with hold(folder):
        words = trial_until(folder, "1000", sleep=lambda _: pytest.fail("the odds are there already"))
    assert words.startswith("coin trial: off: odds against chance 10^")
    assert asked == ["start-trial", "stop-trial"]


def test_it_looks_again_while_the_odds_are_low_and_ends_with_the_session(tmp_path, asked):
    folder = trial_under_way(tmp_path, None)
    waited = []
    with ExitStack() as recorder:
        recorder.enter_context(hold(folder))

        def sleep(seconds):
            waited.append(seconds)
            if len(waited) == 3:
                recorder.close()

        words = trial_until(folder, "1000", sleep=sleep)
    assert len(waited) == 3
    assert words.startswith("the session ended: odds against chance")
    assert asked == ["start-trial"]


def test_a_trial_that_somebody_else_ended_is_waited_for_no_more(tmp_path, asked):
    folder = write_trial(tmp_path / "s", None)
    forget_ending(folder)
    with hold(folder):
        words = trial_until(folder, "1000", sleep=lambda _: pytest.fail("it waits"))
    assert words.startswith("the trial was ended by another: odds against chance")


@pytest.mark.parametrize("odds", ["1", "0.5", "nan", "inf", "many", "1e13"])
def test_odds_that_prove_nothing_are_refused_before_anything_is_asked(tmp_path, asked, odds):
    with pytest.raises(BadInputError, match="above 1"):
        trial_until(tmp_path, odds)
    assert asked == []
