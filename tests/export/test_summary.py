"""The summary says what the measurement says, in words for a terminal."""

from __future__ import annotations

from dataclasses import replace

import pytest

from telltick.export.json_out import measurement_document
from telltick.export.summary import summary_text
from telltick.model.answers import ChangeVerdict
from telltick.model.readings import Estimate, Latency, PollingFacts, Reading, Verdict
from tests.export.scene import ANSWERS, CHANGE, TRIAL, everything, measurement, session


def summary(**changes) -> str:
    return summary_text(measurement_document(session(), measurement(**changes)))


def test_the_whole_and_every_step_have_a_row():
    lines = summary().splitlines()
    assert lines[0] == "larkfell hut: 60.0 s of audio, 1 gap"
    rows = [line for line in lines if line.startswith(("whole", "1 ", "2 "))]
    assert "+4.80 (+4.60 to +5.00)  tied to polling" in rows[0]
    assert rows[2].endswith("not enough data")


def test_polling_and_latency_are_told():
    text = summary()
    assert "83 polls, one each 0.200 s at 4800 baud 8N1, bytes flow 15.0 % of the time" in text
    assert "latency 42.1 ms (41.8 to 42.4)" in text


def test_an_unknown_framing_is_left_out():
    assert "at 4800 baud, bytes" in summary(polling=PollingFacts(83, 0.2, 0.006, 4800, "", 0.15))


def test_steps_are_counted_from_one_in_warnings_too():
    assert "! step 2: Not enough polls for a reading: 9 more are needed." in summary()


def test_nothing_is_said_of_what_the_summary_does_not_show():
    assert "period" not in summary()


def test_a_coin_trial_has_a_line_with_its_odds():
    said = "coin trial: 84 cycles of 16 slots, odds against chance 13000 to 1, drawn slots +1.20 dB"
    assert said in " ".join(summary(trial=TRIAL).split())
    assert "coin trial" not in summary()


@pytest.mark.parametrize(
    ("log10_e", "words"), [(-2.0, "no odds against chance"), (1.0, "chance 10 to 1"), (300.2, "10^300 to 1")]
)
def test_odds_carry_no_more_digits_than_they_deserve(log10_e, words):
    assert words in summary(trial=replace(TRIAL, log10_e=log10_e, difference_db=None))


def test_a_limit_goes_with_no_tie_found():
    nothing = Reading(80, 40.0, -52.0, verdict=Verdict.NO_TIE, upper_limit_i_over_n_db=-14.2, p_value=0.4)
    assert "no tie found (I/N below -14.2 dB)" in summary(whole=nothing)


def test_a_session_without_polls_still_has_a_summary():
    unread = Reading(0, 60.0, warnings=("Not enough polls for a reading: 12 more are needed.",))
    text = summary(polling=PollingFacts(0, None, None, None, "", 0.0), latency=None, whole=unread, steps=())
    assert "0 polls" in text
    assert "latency: nothing in the audio follows the bytes" in text
    for said_elsewhere in ("latency_ms", "polling.", "coherent", "more are needed"):
        assert said_elsewhere not in text


def test_what_the_steps_say_together_is_told_in_a_hundred_columns():
    text = summary_text(measurement_document(session(), everything()))
    assert max(map(len, text.splitlines())) <= 100
    told = " ".join(text.split())
    assert "carried by the reply bytes (ahead by 9 standard errors)" in told
    assert "its spectrum is that of 9600 baud 8N1" in told
    assert "the bits themselves are heard" in told
    assert "to the ear +3.9 dB: -27.7 dBqps while polled, -31.6 without" in told
    assert "rhythmic at 5.0000 per second" in told
    assert "1 -104 S4 -99 S5 -105 heard above band noise by 6 dB" in told
    assert "Changes (3 comparisons, corrected for that: Holm 1979)" in told
    assert "no change within 1 dB antenna beam to dummy load" in told
    assert "ruled out Does it come in through antenna and feed line?" in told
    assert "not tested supply" in told
    assert "What to test next rf gain: minimum It tells apart." in told


def test_a_step_that_is_too_short_says_how_much_longer_it_takes():
    first, second = measurement().steps
    assert "tied to polling; 13 s more for 0.5 dB" in summary(steps=(replace(first, more_s=12.4), second))
    assert "tied to polling; 5 min more for 0.5 dB" in summary(steps=(replace(first, more_s=290.0), second))


def test_a_latency_that_the_user_says_is_told_as_such():
    locked = Latency(Estimate(0.05, 0.05, 0.05), locked=True)
    assert "latency 50.0 ms, as the user says" in summary(latency=locked)


def test_an_undecided_change_says_what_would_decide_it():
    open_ = replace(CHANGE, verdict=ChangeVerdict.UNDECIDED, more_polls=40)
    text = " ".join(summary(answers=replace(ANSWERS, changes=(open_,))).split())
    assert "undecided antenna beam" in text
    assert "About 40 more polls a side would decide it." in text


def test_what_several_steps_say_alike_is_said_once():
    document = measurement_document(session(), measurement())
    document["warnings"] = [f"steps[{step}]: Alike." for step in (0, 2, 3, 4)] + ["steps[1]: Apart.", "All."]
    told = summary_text(document).splitlines()[-3:]
    assert told == ["! steps 1, 3 to 5: Alike.", "! step 2: Apart.", "! All."]
