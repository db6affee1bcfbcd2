"""Setups of two sessions that belong together."""

from __future__ import annotations

import pytest

from telltick.measure.across import SetupSides, judged_sessions, matched
from telltick.measure.equivalence import Mean
from telltick.measure.sides import Side
from telltick.model.answers import ChangeVerdict


def setup(step: int, interference: float = 1.0, **bench: str) -> SetupSides:
    side = Side(
        100,
        20.0,
        Mean(0.5, 0.005, 30.0),
        Mean(interference, 0.01 * interference, 30.0),
        Mean(4.8, 0.05, 30.0),
    )
    return SetupSides(bench, bench, (step,), side, side)


def test_setups_are_matched_by_the_factors_that_both_sessions_know():
    before = [setup(0, antenna="beam"), setup(1, antenna="dummy load")]
    after = [setup(0, antenna="dummy load", lamp="off"), setup(1, antenna="beam", lamp="off")]
    match = matched(before, after)
    assert [(a.bench["antenna"], b.bench["antenna"]) for a, b in match.pairs] == [
        ("beam", "beam"), ("dummy load", "dummy load"),
    ]  # fmt: skip
    assert match.differing == {}


def test_what_differs_throughout_is_told_and_does_not_keep_setups_apart():
    before = [setup(0, antenna="beam", computer="desk"), setup(1, antenna="load", computer="desk")]
    after = [setup(0, antenna="beam", computer="laptop"), setup(1, antenna="load", computer="laptop")]
    match = matched(before, after)
    assert match.differing == {"computer": ("desk", "laptop")}
    assert len(match.pairs) == 2


def test_setups_of_one_session_alone_are_told():
    before = [setup(0, antenna="beam"), setup(1, antenna="whip")]
    after = [setup(0, antenna="beam"), setup(1, antenna="load")]
    match = matched(before, after)
    assert [one.bench["antenna"] for one in match.only_before] == ["whip"]
    assert [one.bench["antenna"] for one in match.only_after] == ["load"]


def test_a_setup_is_matched_once_even_if_it_came_twice():
    before = [setup(0, antenna="beam", knob="1"), setup(1, antenna="beam", knob="2")]
    after = [setup(0, antenna="beam")]
    match = matched(before, after)
    assert len(match.pairs) == 1
    assert len(match.only_before) == 1


def test_sessions_with_nothing_in_them_match_nothing():
    assert matched([], []).pairs == ()
    assert matched([setup(0, antenna="beam")], []).only_before[0].steps == (0,)


@pytest.mark.parametrize(
    ("ratio", "verdict"),
    [(1.0, ChangeVerdict.SAME), (0.5, ChangeVerdict.CHANGED), (2.0, ChangeVerdict.CHANGED)],
)
def test_the_verdict_is_that_of_a_change_within_a_session(ratio, verdict):
    match = matched([setup(0, antenna="beam")], [setup(0, ratio, antenna="beam")])
    ((found,),) = judged_sessions([(match, "before", "after", True)])
    assert found.change.verdict is verdict
    assert found.change.basis == "interference"
    assert found.change.before == {"session": "before"}


def test_with_other_inputs_only_the_excess_counts():
    match = matched([setup(0, antenna="beam")], [setup(0, 9.0, antenna="beam")])
    ((found,),) = judged_sessions([(match, "before", "after", False)])
    assert found.change.basis == "excess"
    assert found.change.verdict is ChangeVerdict.SAME
    assert found.change.interference_db is None
    assert found.change.noise_db is None


def test_all_comparisons_of_all_pairs_are_corrected_for_together():
    near = matched([setup(0, antenna="beam")], [setup(0, 1.04, antenna="beam")])
    ((alone,),) = judged_sessions([(near, "a", "b", True)])
    many = list(judged_sessions([(near, "a", f"b{n}", True) for n in range(10)]))
    assert many[0][0].change.p_changed == pytest.approx(min(1.0, 10 * alone.change.p_changed))
