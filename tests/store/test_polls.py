"""A day's polls in little memory."""

import tracemalloc

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
        assert reader.polls.reply_ms.tolist() == [0.0, 70_000.0]
        reader.polls.keep(slice(1, None))
        assert [*reader.polls] == polls[1:]


def test_a_reply_before_its_request_is_nonsense(tmp_path):
    with Journal.create(tmp_path, FACTS) as journal:
        journal.add_poll(Poll(1, NS, NS, PollOutcome.REPLY, -3))
    with pytest.raises(BadSessionError, match="before its request"):
        SessionReader(tmp_path)
