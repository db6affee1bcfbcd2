"""A day's polls in little memory."""

import tracemalloc

import numpy as np
import pytest

from telltick.model.clock import NS
from telltick.model.errors import BadSessionError
from telltick.model.traffic import Poll, PollOutcome
from telltick.store.journal import Journal
from telltick.store.session import SessionReader
from tests.store.scene import FACTS


def test_a_poll_takes_some_twenty_bytes(tmp_path):
    polls = [Poll(number, number * NS, number * NS + 5, PollOutcome.REPLY, 7) for number in range(20_000)]
    with Journal.create(tmp_path, FACTS) as journal, journal.batch():
        for poll in polls:
            journal.add_poll(poll)
    tracemalloc.start()
    with SessionReader(tmp_path) as reader:
        held = tracemalloc.get_traced_memory()[0]
        tracemalloc.stop()
        assert len(reader.polls) == 20_000
        assert held < 45 * 20_000  # the room for more counted; objects took 200 each
        assert [*reader.polls] == polls
        assert reader.polls[-1] == polls[-1]
        assert reader.polls[3:9:2] == tuple(polls[3:9:2])


def test_polls_come_out_as_they_went_in_also_when_the_first_are_let_go_of(tmp_path):
    polls = [
        Poll(1, 5 * NS, 5 * NS + 3, PollOutcome.REPLY, 0),
        Poll(2, 6 * NS, 9000 * NS, PollOutcome.TIMEOUT, None),
        Poll(900_000, 40_000 * NS, 40_000 * NS - 7, PollOutcome.REPLY, 70 * NS),
    ]
    with Journal.create(tmp_path, FACTS) as journal:
        for poll in polls:
            journal.add_poll(poll)
    with SessionReader(tmp_path) as reader:
        assert [*reader.polls] == polls
        assert reader.polls.sent_ns.tolist() == [poll.sent_ns for poll in polls]
        assert reader.polls.reply_ms(0.0, 0.25, 1.0) == [0.0, 17_500.0, 70_000.0]
        reader.polls.keep(slice(1, None))
        assert [*reader.polls] == polls[1:]


def test_a_reply_before_its_request_is_nonsense(tmp_path):
    with Journal.create(tmp_path, FACTS) as journal:
        journal.add_poll(Poll(1, NS, NS, PollOutcome.REPLY, -3))
    with pytest.raises(BadSessionError, match="before its request"):
        SessionReader(tmp_path)


@pytest.mark.parametrize("sparing", [False, True])
def test_times_of_reply_are_numpys_percentiles_to_the_last_digit(tmp_path, sparing):
    rng = np.random.default_rng(1)
    took = [int(one) if one > 0 else None for one in rng.normal(3e7, 2e7, 501)]
    with Journal.create(tmp_path, FACTS) as journal, journal.batch():
        for number, reply_ns in enumerate(took):
            outcome = PollOutcome.TIMEOUT if reply_ns is None else PollOutcome.REPLY
            journal.add_poll(Poll(number, number * NS, number * NS, outcome, reply_ns))
    told_ms = [one / 1e6 for one in took if one is not None]
    assert 400 < len(told_ms) < 501
    with SessionReader(tmp_path, sparing=sparing) as reader:
        assert reader.polls.reply_ms(0.5, 0.95) == np.percentile(told_ms, (50, 95)).tolist()
        assert reader.polls.ended_in(PollOutcome.TIMEOUT) == 501 - len(told_ms)


def test_without_replies_there_is_no_time_of_reply(tmp_path):
    with Journal.create(tmp_path, FACTS) as journal:
        journal.add_poll(Poll(1, NS, NS, PollOutcome.TIMEOUT, None))
    with SessionReader(tmp_path) as reader:
        assert reader.polls.reply_ms(0.5) is None
