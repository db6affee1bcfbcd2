"""When a reply is complete, and how long it kept the line busy."""

from __future__ import annotations

import pytest

from telltick.model.plan import PollPlan
from telltick.sources.byte_run import ByteRun
from telltick.sources.reply_rule import ReplyRule

CHAR_NS = 1_041_666.67  # 9600 baud, 8N1: 10 bits / baud


def rule(**how) -> ReplyRule:
    return ReplyRule.of(PollPlan(port="loop://", frame_text="?", **how))


def test_a_terminator_of_several_bytes_ends_a_reply_wherever_it_comes():
    ends = rule(reply_terminator="0d 0a")
    assert ends.end(b"abc\r") is None
    assert ends.end(b"abc\r\nrest") == 5


def test_a_length_ends_a_reply():
    assert rule(reply_bytes=4).end(b"abc") is None
    assert rule(reply_bytes=4).end(b"abcdef") == 4


def test_whatever_comes_first_of_terminator_and_length_ends_a_reply():
    both = rule(reply_bytes=4, reply_terminator="3b")
    assert both.end(b"a;cdef") == 2
    assert both.end(b"abcdef;") == 4


def test_silence_ends_a_reply_only_where_the_plan_says_so():
    assert rule(reply_silence_ms=5).silent(5_000_000)
    assert not rule(reply_silence_ms=5).silent(4_999_999)
    assert not rule(reply_bytes=4).silent(10**12)


def test_a_plan_without_any_end_awaits_no_reply():
    assert not rule().awaited
    assert rule(reply_silence_ms=5).awaited


def test_bytes_that_come_at_once_took_their_character_times_before():
    run = ByteRun()
    run.add(b"x" * 10, 50_000_000)
    burst = run.burst(CHAR_NS, 3)
    assert burst.end_ns == 50_000_000
    assert burst.start_ns == pytest.approx(50_000_000 - 10 * CHAR_NS, abs=1)
    assert burst.poll == 3


def test_bytes_that_trickle_in_kept_the_line_busy_from_the_first_start_bit():
    run = ByteRun()
    for k in range(4):
        run.add(b"x", 50_000_000 + k * 5_000_000)
    burst = run.burst(CHAR_NS, None)
    assert burst.end_ns == 65_000_000
    assert burst.start_ns == pytest.approx(50_000_000 - CHAR_NS, abs=1)
    assert burst.data == b"xxxx"
