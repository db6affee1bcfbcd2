"""Poll plans that cannot be carried out are refused with the key to mend."""

from __future__ import annotations

import pytest

from telltick.model.plan import AudioPlan, PollPlan


def test_a_request_is_written_as_text_with_escapes_or_as_hex():
    assert PollPlan(port="x", frame_text="Q1\\r").frame == b"Q1\r"
    assert PollPlan(port="x", frame_hex="51 31 0d").frame == b"Q1\r"


@pytest.mark.parametrize(
    ("key", "fields"),
    [
        ("frame_text", {}),
        ("frame_text", {"frame_text": "a", "frame_hex": "61"}),
        ("frame_text", {"frame_text": ""}),
        ("frame_hex", {"frame_hex": "6"}),
        ("framing", {"frame_text": "a", "framing": "9N1"}),
        ("reply_terminator", {"frame_text": "a", "reply_terminator": "zz"}),
        ("unanswered_text", {"frame_text": "a", "unanswered_text": ""}),
        ("unanswered_hex", {"frame_text": "a", "unanswered_hex": "6"}),
        ("unanswered_text", {"frame_text": "a", "unanswered_text": "b", "unanswered_hex": "62"}),
        ("unanswered_text", {"frame_text": "a", "unanswered_hex": "61"}),
        ("interval_s", {"frame_text": "a", "interval_s": 0}),
        ("baud", {"frame_text": "a", "baud": 0}),
        ("jitter_ms", {"frame_text": "a", "jitter_ms": -1}),
    ],
)
def test_each_bad_value_is_named_by_its_key(key, fields):
    with pytest.raises(ValueError, match=key):
        PollPlan(port="x", **fields)


def test_an_impossible_sound_input_is_refused():
    with pytest.raises(ValueError, match="rate_hz"):
        AudioPlan(rate_hz=10)
    with pytest.raises(ValueError, match="channel"):
        AudioPlan(channel=0)


def test_a_refused_number_is_written_out_in_full():
    with pytest.raises(ValueError, match=r"^baud: must be 50 to 4000000, not 99999999$"):
        PollPlan(port="x", frame_text="a", baud=99_999_999)
    with pytest.raises(ValueError, match=r"^interval_s: must be 0\.01 to 3600, not 0\.001$"):
        PollPlan(port="x", frame_text="a", interval_s=0.001)
