"""Whole rounds: findings name the way in, and never rule out the true one."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from telltick.measure.answers import answers_of
from telltick.model.answers import NO_ANSWERS, PathVerdict
from telltick.model.marks import Step
from telltick.model.measurement import StepReading
from telltick.model.readings import Reading
from tests.benchmarks.benches import judged
from tests.measure.benches import round_of

SHORT = (("antenna", "dummy load"), ("antenna", "beam"), ("rf gain", "half"))
CABLE = (("choke", "fitted"), ("choke", "none"), ("cable", "B"))
PULLED = (("cable", "unplugged"), ("cable", "A"))
# Way in, I/N, seconds a step, swaps, characters listened to, findings that must be supported.
BENCHES = (
    ("cable", 5.5, 6.0, CABLE, False, ("tied to polling", "cable")),
    ("cable", 0.0, 8.0, SHORT, False, ("tied to polling", "ahead of rf gain")),
    ("antenna", 5.5, 6.0, SHORT, False, ("antenna", "ahead of rf gain")),
    ("behind gain", 5.5, 6.0, SHORT, False, ("behind rf gain",)),
    ("monitor", 5.5, 6.0, (("monitor level", "0"),), False, ("monitor",)),
    ("supply", 5.5, 6.0, (("supply", "battery"),), False, ("supply",)),
    ("data line", 12.0, 8.0, (("baud", "4800"), ("poll interval", "0.4 s")), True, ("data line",)),
    ("command handling", 12.0, 8.0, (("baud", "19200"),), True, ("command handling",)),
    ("computer", 12.0, 10.0, PULLED, False, ("computer",)),
    ("none", 5.5, 6.0, SHORT, False, ()),
)


@pytest.mark.parametrize(("way_in", "level", "seconds", "swaps", "characters", "supported"), BENCHES)
def test_findings_name_the_way_in_and_rule_nothing_true_out(
    way_in, level, seconds, swaps, characters, supported
):
    told = round_of(41, way_in, seconds, *swaps, i_over_n_db=level, characters=characters)
    answers = told.answers()
    how = judged(answers, way_in)
    assert [path for path, verdict in how.items() if verdict == "wrong"] == []
    verdicts = {one.path: one.verdict for one in answers.findings}
    assert {path: verdicts[path] for path in supported} == dict.fromkeys(supported, PathVerdict.SUPPORTED)


def test_a_session_without_steps_has_no_answers():
    assert answers_of([], [], None) == NO_ANSWERS


def test_steps_and_rows_must_be_equally_many():
    step = StepReading(Step(0, 0, 1), Reading(0, 0.0))
    with pytest.raises(ValueError, match="1 steps cannot have 2 sets of rows"):
        answers_of([step], [None, None], None)


words = st.text(max_size=12)
factors = st.sampled_from(["antenna", "choke", "cable", "rf gain", "polling", "coin trial", ""]) | words


@settings(max_examples=60)
@given(st.lists(st.dictionaries(factors, words, max_size=4), max_size=6))
def test_whatever_an_operator_calls_things_every_way_in_gets_a_verdict(setups):
    steps = [StepReading(Step(i, i, i + 1, setup), Reading(0, 0.0)) for i, setup in enumerate(setups)]
    answers = answers_of(steps, [None] * len(steps), None)
    assert len({one.path for one in answers.findings}) == len(answers.findings) == (12 if steps else 0)
    assert all(one.because.endswith(".") for one in answers.findings)
    assert sorted(i for one in answers.setups for i in one.steps) == list(range(len(steps)))


def test_the_bound_of_equivalence_can_be_set():
    told = round_of(42, "cable", 6.0, ("choke", "fitted"))
    assert [one.words for one in told.answers(bound_db=12.0).changes] == ["no change within 12 dB"]
    assert [one.words for one in told.answers(bound_db=1.0).changes] == ["changed"]


def test_the_number_of_comparisons_is_told():
    told = round_of(42, "cable", 6.0, ("choke", "fitted"))
    assert told.answers().comparisons == 1


def test_answers_do_not_depend_on_how_the_operator_spells():
    told = round_of(42, "cable", 6.0, ("choke", "fitted"))
    steps = [
        replace(one, step=replace(one.step, setup={k.title(): v.upper() for k, v in one.step.setup.items()}))
        for one in told.steps
    ]
    plain, loud = told.answers(), answers_of(steps, told.rows, told.latency)
    assert [one.verdict for one in plain.findings] == [one.verdict for one in loud.findings]
