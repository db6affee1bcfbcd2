"""Setups of two sessions that belong together."""

from __future__ import annotations

from dataclasses import replace

import pytest

from telltick.measure.across import Matched, SetupSides, judged_sessions, levels_of, matched, sides_of
from telltick.measure.equivalence import Mean
from telltick.measure.setups import Drift, Setup
from telltick.measure.sides import Side
from telltick.model.answers import ChangeVerdict
from telltick.model.comparison import Levels
from telltick.model.readings import Reading, Verdict


def setup(step: int, interference: float = 1.0, **bench: str) -> SetupSides:
    side = Side(
        100,
        20.0,
        Mean(0.5, 0.005, 30.0),
        Mean(interference, 0.01 * interference, 30.0),
        Mean(4.8, 0.05, 30.0),
    )
    return SetupSides(bench, bench, (step,), side, side)


def test_a_repair_after_which_nothing_is_found_is_a_change_by_what_the_limit_leaves_at_least():
    heard = setup(0)
    side = Side(591, 120.0, Mean(0.5, 0.005, 60.0), None, None)
    calm = Reading(591, 120.0, verdict=Verdict.NO_TIE, upper_limit_i_over_n_db=-13.6)
    (repaired,) = sides_of([Setup({}, {}, (0,), side, (side,), calm)], Drift())
    match = Matched({}, ((heard, repaired),), (), ())
    for levels in (Levels.NONE, Levels.AUDIO):
        ((one,),) = judged_sessions([(match, "before", "after", [levels])])
        assert one.change.verdict is ChangeVerdict.CHANGED
        assert one.change.excess_db.high < -4.8 + 0.3
        assert one.change.excess_db.low > -4.8 - 0.3


def test_two_sessions_in_which_nothing_is_found_differ_by_what_both_limits_leave():
    side = Side(591, 120.0, Mean(0.5, 0.005, 60.0), None, None)
    verdicts = []
    for limit_db in (-13.6, -3.0):
        calm = Reading(591, 120.0, verdict=Verdict.NO_TIE, upper_limit_i_over_n_db=limit_db)
        (one,) = sides_of([Setup({}, {}, (0,), side, (side,), calm)], Drift())
        match = Matched({}, ((one, one),), (), ())
        ((found,),) = judged_sessions([(match, "before", "after", [Levels.NONE])])
        verdicts.append(found.change.verdict)
    assert verdicts == [ChangeVerdict.SAME, ChangeVerdict.UNDECIDED]


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
    ((found,),) = judged_sessions([(match, "before", "after", [Levels.AUDIO])])
    assert found.change.verdict is verdict
    assert found.change.basis == "interference"
    assert found.change.before == {"session": "before"}


def test_with_other_inputs_only_the_excess_counts():
    match = matched([setup(0, antenna="beam")], [setup(0, 9.0, antenna="beam")])
    ((found,),) = judged_sessions([(match, "before", "after", [Levels.NONE])])
    assert found.change.basis == "excess"
    assert found.change.verdict is ChangeVerdict.SAME
    assert found.change.interference_db is None
    assert found.change.noise_db is None


def at_socket(gain_db: float, antenna_db: float | None = None, **bench: str) -> SetupSides:
    """A setup as heard through a receiver that makes everything louder by `gain_db`."""
    one, times = setup(0, **bench), 10 ** (gain_db / 10)
    power = {
        name: replace(mean, value=times * mean.value, error=times * mean.error)
        for name, mean in (("noise", one.pure.noise), ("interference", one.pure.interference))
    }
    side = replace(one.pure, **power)
    return replace(one, pure=side, drifting=side, antenna_db=antenna_db)


def test_calibrated_sessions_compare_at_the_antenna_socket_whatever_the_gains():
    # dBm = dBFS + offset: 12 dB more gain, 12 dB less of offset, the same level at the socket.
    before, after = at_socket(0.0, -60.0, knob="1"), at_socket(12.0, -72.0, knob="1")
    assert levels_of(before, after, same_input=False) is Levels.ANTENNA
    ((found,),) = judged_sessions([(matched([before], [after]), "a", "b", [Levels.ANTENNA])])
    assert found.change.verdict is ChangeVerdict.SAME
    assert found.change.interference_db.value == pytest.approx(0.0, abs=1e-9)
    assert found.change.noise_db.value == pytest.approx(0.0, abs=1e-9)
    ((raw,),) = judged_sessions([(matched([before], [after]), "a", "b", [Levels.AUDIO])])
    assert raw.change.interference_db.value == pytest.approx(12.0, abs=1e-9)


def test_without_calibration_levels_need_one_input_and_no_gain_that_is_known_to_differ():
    full, low = {"rf gain": "full"}, {"rf gain": "half"}
    assert levels_of(setup(0, **full), setup(0, **full), same_input=True) is Levels.AUDIO
    assert levels_of(setup(0, **full), setup(0, **low), same_input=True) is Levels.NONE
    assert levels_of(setup(0, **full), setup(0, **full), same_input=False) is Levels.NONE
    assert levels_of(at_socket(0.0, -60.0), setup(0), same_input=True) is Levels.AUDIO  # one calibrated alone


def test_all_comparisons_of_all_pairs_are_corrected_for_together():
    near = matched([setup(0, antenna="beam")], [setup(0, 1.04, antenna="beam")])
    ((alone,),) = judged_sessions([(near, "a", "b", [Levels.AUDIO])])
    many = list(judged_sessions([(near, "a", f"b{n}", [Levels.AUDIO]) for n in range(10)]))
    assert many[0][0].change.p_changed == pytest.approx(min(1.0, 10 * alone.change.p_changed))
