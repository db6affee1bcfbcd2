"""The simulated radio's place on the line, with a clock of our own."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from telltick.model.framing import Framing
from telltick.model.traffic import Direction
from telltick.sources.bench.radio import Radio

CHAR_NS = 10 / 9600 * 1e9


def test_a_status_request_is_answered_after_a_turn_around_at_the_true_rate():
    request, reply = Radio(1, Framing()).hear(1_000_000, b"Q1;", 9600)
    assert request.direction is Direction.TX
    assert request.start_ns == 1_000_000
    assert request.end_ns - request.start_ns == pytest.approx(3 * CHAR_NS, abs=1)
    assert reply.direction is Direction.RX
    assert 3_000_000 <= reply.start_ns - request.end_ns <= 7_000_000
    assert reply.end_ns - reply.start_ns == pytest.approx(len(reply.data) * CHAR_NS, abs=1)
    assert re.fullmatch(rb"Q1 \d{4} \d{3} \d{5} \d{3};", reply.data)


def test_digits_change_from_reply_to_reply_and_a_seed_gives_them_again():
    first, again = (
        [radio.hear(k * 10**9, b"Q1;", 9600)[1].data for k in range(5)]
        for radio in (Radio(1, Framing()), Radio(1, Framing()))
    )
    assert first == again
    assert len(set(first)) == 5


def test_the_radio_follows_the_rate_it_is_spoken_to():
    slow = Radio(1, Framing()).hear(0, b"Q1;", 4800)[1]
    fast = Radio(1, Framing()).hear(0, b"Q1;", 19200)[1]
    assert (slow.end_ns - slow.start_ns) / (fast.end_ns - fast.start_ns) == pytest.approx(4.0, abs=1e-6)


def test_a_request_it_does_not_know_is_turned_down():
    assert Radio(1, Framing()).hear(0, b"X9;", 9600)[1].data == b"N;"


def test_a_request_without_an_end_is_waited_for():
    radio = Radio(1, Framing())
    assert len(radio.hear(0, b"Q", 9600)) == 1
    tail, reply = radio.hear(50_000_000, b"1;", 9600)
    assert reply.data.startswith(b"Q1 ")
    assert reply.start_ns - tail.end_ns >= 3_000_000


@given(st.lists(st.tuples(st.integers(0, 10**8), st.binary(min_size=1, max_size=20)), max_size=10))
def test_bytes_never_overlap_on_either_wire_whatever_is_sent(sent):
    radio, t_ns, bursts = Radio(1, Framing()), 0, []
    for pause_ns, data in sent:
        t_ns += pause_ns
        bursts += radio.hear(t_ns, data, 9600)
    for direction in Direction:
        wire = [burst for burst in bursts if burst.direction is direction]
        assert all(b.start_ns >= a.end_ns for a, b in pairwise(wire))
    assert b"".join(b.data for b in bursts if b.direction is Direction.TX) == b"".join(d for _, d in sent)


def test_a_request_for_another_device_is_let_pass():
    radio = Radio(1, Framing())
    (request,) = radio.hear(0, b"Z1;", 9600)
    assert request.data == b"Z1;"
    assert len(radio.hear(10**9, b"Q1;", 9600)) == 2
