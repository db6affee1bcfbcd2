"""The shipped session tells its story, and the README prints what it says."""

from functools import cache

import pytest

from telltick.engine.offline import measure_session
from telltick.model.answers import PathVerdict
from telltick.store.session import SessionReader
from tests.tools.make_readme import README, measured, parts
from tests.tools.make_recordings import NAME, RECORDINGS

# What is true of the simulated bench: the way in is the cable, ahead of the gain control.
TRUE = ("tied to polling", "cable", "ahead of rf gain", "data line")
FALSE = ("antenna", "computer", "behind rf gain", "command handling")
UNTRIED = ("supply", "monitor", "frequency", "repetition")


@cache
def answers():
    with SessionReader(RECORDINGS / NAME) as reader:
        return measure_session(reader).answers


def test_the_shipped_session_finds_the_true_way_in_and_rules_the_others_out():
    verdicts = {one.path: one.verdict for one in answers().findings}
    assert verdicts == {
        **dict.fromkeys(TRUE, PathVerdict.SUPPORTED),
        **dict.fromkeys(FALSE, PathVerdict.RULED_OUT),
        **dict.fromkeys(UNTRIED, PathVerdict.NOT_TESTED),
    }


def test_the_shipped_session_comes_back_to_its_baseline():
    baseline = answers().setups[0]
    assert len(baseline.steps) == 8
    assert not baseline.drifted


def test_the_changes_of_the_shipped_session_hold_what_is_true_of_its_bench():
    changes = {one.factors: one for one in answers().changes}
    assert changes[("antenna",)].words == "no change within 1 dB"
    choke = changes[("choke",)].interference_db
    assert choke.low < -8 < choke.high
    assert -14.5 < changes[("cable",)].interference_at_least_db < -10
    gain = changes[("rf gain",)]
    assert gain.interference_db.low < -29.6 < gain.interference_db.high
    assert all(one.swaps == 2 for one in answers().changes)


def test_what_to_test_next_is_what_nobody_has_tried():
    assert {one.factor for one in answers().next_tests} <= {
        "supply", "monitor level", "frequency", "poll interval", "request",
    }  # fmt: skip


def test_the_readme_prints_what_measuring_the_shipped_session_prints():
    _, printed, _ = parts(README.read_text(encoding="utf-8"))
    assert printed.splitlines() == measured().splitlines()


@pytest.mark.parametrize("most_mb", [5])
def test_the_shipped_session_stays_small(most_mb):
    size = sum(file.stat().st_size for file in (RECORDINGS / NAME).rglob("*") if file.is_file())
    assert size < most_mb * 1e6
