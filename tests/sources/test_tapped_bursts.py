"""Bytes that others exchange, as bursts; time is the test's."""

from __future__ import annotations

from itertools import pairwise

import pytest

from telltick.model.traffic import Direction
from telltick.sources.tapped_bursts import MOST_BYTES, TappedBursts, char_ns

MS = 1_000_000
CHAR_NS = char_ns(10, 9600)  # 8N1: bits / baud


@pytest.fixture
def told():
    return []


@pytest.fixture
def bursts(told):
    return TappedBursts(told.append, CHAR_NS)


def test_a_request_and_its_reply_are_two_bursts_with_the_time_their_bytes_take(bursts, told):
    bursts.sent(b"Q1;", 100 * MS)
    bursts.received(b"Q1 0042;", 130 * MS)
    bursts.flush_silent(200 * MS)
    sent, answered = told
    assert (sent.direction, sent.data, sent.start_ns) == (Direction.TX, b"Q1;", 100 * MS)
    assert sent.end_ns - sent.start_ns == pytest.approx(3 * CHAR_NS, abs=1)
    assert (answered.direction, answered.end_ns) == (Direction.RX, 130 * MS)
    assert answered.end_ns - answered.start_ns == pytest.approx(8 * CHAR_NS, abs=1)


def test_requests_written_back_to_back_are_one_burst_as_they_are_on_the_line(bursts, told):
    bursts.sent(b"Q1;", 100 * MS)
    bursts.sent(b"Q2;", 101 * MS)  # the first is still being sent
    bursts.flush()
    assert [burst.data for burst in told] == [b"Q1;Q2;"]
    assert told[0].end_ns - told[0].start_ns == pytest.approx(6 * CHAR_NS, abs=2)


def test_a_pause_parts_requests(bursts, told):
    bursts.sent(b"Q1;", 100 * MS)
    bursts.sent(b"Q2;", 120 * MS)
    bursts.flush()
    assert [burst.data for burst in told] == [b"Q1;", b"Q2;"]


def test_a_reply_ends_where_the_next_request_begins_however_short_the_silence(bursts, told):
    bursts.sent(b"Q1;", 100 * MS)
    bursts.received(b"42;", 110 * MS)
    bursts.sent(b"Q1;", 115 * MS)
    bursts.received(b"43;", 125 * MS)
    bursts.flush()
    assert [(b.direction, b.data) for b in told] == [
        (Direction.TX, b"Q1;"),
        (Direction.RX, b"42;"),
        (Direction.TX, b"Q1;"),
        (Direction.RX, b"43;"),
    ]


def test_a_reply_that_an_adapter_hands_over_in_pieces_is_one_burst(bursts, told):
    bursts.received(b"Q1 0", 100 * MS)
    bursts.received(b"042;", 116 * MS)  # a latency timer of 16 ms is common practice, no source
    bursts.flush()
    assert [burst.data for burst in told] == [b"Q1 0042;"]


def test_nothing_is_told_twice_and_nothing_before_it_is_over(bursts, told):
    bursts.sent(b"Q1;", 100 * MS)
    bursts.flush_silent(102 * MS)
    assert told == []
    assert bursts.pending
    for _ in range(3):
        bursts.flush_silent(110 * MS)
    assert len(told) == 1
    assert not bursts.pending


def test_a_stream_without_end_is_told_in_pieces(bursts, told):
    for turn in range(100):
        bursts.sent(bytes(64), 100 * MS + turn * round(64 * CHAR_NS))
    bursts.flush()
    assert sum(len(burst.data) for burst in told) == 6400
    assert max(len(burst.data) for burst in told) <= MOST_BYTES + 64
    for before, after in pairwise(told):
        assert after.start_ns - before.end_ns == pytest.approx(0, abs=100_000)


def test_a_new_rate_counts_from_the_next_byte_on(bursts, told):
    bursts.sent(b"Q1;", 100 * MS)
    bursts.set_char_ns(CHAR_NS / 2)
    bursts.sent(b"Q1;", 200 * MS)
    bursts.flush()
    first, second = (burst.end_ns - burst.start_ns for burst in told)
    assert first == pytest.approx(2 * second, abs=2)
