import re
from functools import cache

import numpy as np
import pytest

from telltick.measure.changes import judged_changes
from telltick.measure.looks import Observation, observations
from telltick.measure.pathways import findings_of, weighed_paths
from telltick.measure.rules import PATHS, PRACTICE, SWAPS, Look, Seen
from telltick.measure.setups import Drift
from telltick.model.answers import PathVerdict
from telltick.model.characteristics import Carrier, Portrait
from telltick.model.clock import NS
from telltick.model.marks import Step
from telltick.model.measurement import StepReading
from telltick.model.readings import Reading, TrialReading
from tests.measure.benches import round_of
from tests.measure.test_changes import setup, side


def seen(look, *what, words="numbers", steps=(0, 1)):
    return Observation(look, frozenset(what), words, steps)


def finding(path, *observed, changes=()):
    return next(one for one in findings_of(weighed_paths(observed), changes) if one.path == path)


def test_every_way_in_has_a_question_reasoning_and_a_name_of_its_own():
    assert len({path.name for path in PATHS}) == len(PATHS)
    for path in PATHS:
        assert path.question.endswith("?")
        assert PRACTICE in path.reasoning or "(" in path.reasoning, path.name


def test_every_look_of_the_table_is_a_swap_or_a_sign_that_is_looked_for():
    signs = {Look.TIE, Look.TRIAL, Look.CARRIER}
    assert {line.look for path in PATHS for line in path.lines} == signs | set(SWAPS)


def test_the_ways_in_that_a_bench_can_be_asked_about_are_all_there():
    assert {path.name for path in PATHS} >= {
        "tied to polling", "antenna", "cable", "computer", "supply", "ahead of rf gain", "behind rf gain",
        "frequency", "monitor", "data line", "command handling", "repetition",
    }  # fmt: skip


def test_what_goes_with_the_dummy_load_came_by_the_antenna():
    found = finding("antenna", seen(Look.DUMMY_LOAD, Seen.GONE, Seen.FELL, words="I fell by 20 dB"))
    assert found.verdict is PathVerdict.SUPPORTED
    assert found.because == "I fell by 20 dB."
    assert found.steps == (0, 1)


def test_what_stays_on_the_dummy_load_did_not():
    assert (
        finding("antenna", seen(Look.DUMMY_LOAD, Seen.STAYED, Seen.NOT_LESS)).verdict is PathVerdict.RULED_OUT
    )


def test_a_partial_fall_on_the_dummy_load_decides_nothing():
    assert finding("antenna", seen(Look.DUMMY_LOAD, Seen.FELL)).verdict is PathVerdict.UNDECIDED


def test_steps_that_contradict_each_other_are_shown_as_such_with_both_sides():
    gone = seen(Look.DUMMY_LOAD, Seen.GONE, words="it went (steps 1 and 2)", steps=(0, 1))
    stayed = seen(
        Look.DUMMY_LOAD, Seen.STAYED, Seen.NOT_LESS, words="it stayed (steps 5 and 6)", steps=(4, 5)
    )
    found = finding("antenna", gone, stayed)
    assert found.verdict is PathVerdict.CONTRADICTORY
    assert found.because == "It went (steps 1 and 2); but it stayed (steps 5 and 6)."
    assert found.steps == (0, 1, 4, 5)


def test_a_choke_alone_does_not_acquit_the_cable():
    found = finding("cable", seen(Look.CHOKE, Seen.STAYED, Seen.NOT_LESS))
    assert found.verdict is PathVerdict.UNDECIDED
    assert found.because.endswith("to rule it out it takes cable to B as well.")


def test_a_choke_and_another_cable_together_do():
    both = seen(Look.CHOKE, Seen.STAYED), seen(Look.OTHER_CABLE, Seen.STAYED)
    assert finding("cable", *both).verdict is PathVerdict.RULED_OUT


def test_a_cable_that_matters_is_not_acquitted_by_one_that_is_like_it():
    both = seen(Look.CHOKE, Seen.FELL, Seen.MOVED), seen(Look.OTHER_CABLE, Seen.STAYED)
    assert finding("cable", *both).verdict is PathVerdict.SUPPORTED


def test_what_nobody_tried_is_not_tested_and_says_what_it_takes():
    found = finding("supply")
    assert found.verdict is PathVerdict.NOT_TESTED
    assert found.because.startswith("Not tested: set supply to battery")


def test_a_factor_that_never_changed_alone_is_not_tested_and_says_so():
    steps = [setup(0, {"antenna": "beam", "choke": "none"}, side(6, 3)), setup(1, {}, side(0.1, 0.02))]
    steps[1].bench.update({"antenna": "dummy load", "choke": "fitted"})
    from telltick.measure.changes import judged_changes
    from telltick.measure.setups import Drift

    changes = [one.change for one in judged_changes(steps, Drift(), 1.0)]
    found = finding("antenna", changes=changes)
    assert found.verdict is PathVerdict.NOT_TESTED
    assert found.because == "Antenna was only changed together with choke (steps 1 and 2)."


def test_interference_between_request_and_reply_is_the_radio_at_work_and_not_the_line():
    portrait = seen(Look.CARRIER, Seen.BEFORE_REPLY)
    assert finding("command handling", portrait).verdict is PathVerdict.SUPPORTED
    assert finding("data line", portrait).verdict is PathVerdict.RULED_OUT


def test_what_goes_with_the_replies_is_the_radios_work_only_where_the_portrait_says_so():
    answered = setup(0, {"request": "answered by the radio"}, side(6.6, 3.5))
    ignored = setup(1, {"request": "ignored by the radio"}, side(0.0, 0.0))
    judged = judged_changes([answered, ignored], Drift(), 1.0)
    seen_between = StepReading(Step(0, 0, NS, answered.said), Reading(100, 20.0), portrait=between_replies())
    alone = finding("command handling", *observations([], [], judged, None))
    assert alone.verdict is PathVerdict.UNDECIDED
    assert "the bytes of the replies went with them" in alone.because
    both = finding("command handling", *observations([seen_between], [], judged, None))
    assert both.verdict is PathVerdict.SUPPORTED
    assert both.steps == (0, 1)


def between_replies() -> Portrait:
    flat = np.ones(10)
    return Portrait(
        0.001 * np.arange(10), flat, flat, flat, 0.003, (0.02, 0.03), Carrier.TURNAROUND, 9.0, 100
    )


def test_a_sure_coin_trial_ties_it_to_the_polling_and_a_weak_one_does_not():
    sure, weak = (
        observations([], [], [], TrialReading(False, 60, 0, 5, 0.04, 7, 3.0, highest))
        for highest in (3.0, 1.5)
    )
    assert finding("tied to polling", *sure).verdict is PathVerdict.SUPPORTED
    assert (
        "odds of 1000 to 1 against chance after 60 cycles (seed 7)"
        in finding("tied to polling", *sure).because
    )
    assert finding("tied to polling", *weak).verdict is PathVerdict.UNDECIDED


@cache
def gain_round(path):
    return round_of(31, path, 8.0, ("rf gain", "half"), ("rf gain", "full"))


@pytest.mark.parametrize(
    ("path", "ahead", "behind"),
    [
        ("cable", PathVerdict.SUPPORTED, PathVerdict.RULED_OUT),
        ("behind gain", PathVerdict.RULED_OUT, PathVerdict.SUPPORTED),
        ("none", PathVerdict.UNDECIDED, PathVerdict.UNDECIDED),
    ],
)
def test_interference_that_falls_with_the_noise_enters_ahead_of_the_gain_control(path, ahead, behind):
    found = {one.path: one.verdict for one in gain_round(path).answers().findings}
    assert (found["ahead of rf gain"], found["behind rf gain"]) == (ahead, behind)


def test_nothing_tied_to_polling_is_never_told_as_no_interference():
    found = {one.path: one for one in gain_round("none").answers().findings}["tied to polling"]
    assert found.verdict is PathVerdict.UNDECIDED
    assert re.search("interference, if any, is at least [5-9] dB below", found.because)
