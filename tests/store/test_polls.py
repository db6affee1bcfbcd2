"""A day's polls in little memory."""

import tracemalloc

from telltick.model.clock import NS
from telltick.model.traffic import Poll, PollOutcome
from telltick.store.journal import Journal
from telltick.store.session import SessionReader
from tests.store.scene import FACTS


def test_a_poll_takes_forty_bytes(tmp_path):
    polls = [Poll(number, number * NS, number * NS + 5, PollOutcome.REPLY, 7) for number in range(20_000)]
    with Journal.create(tmp_path, FACTS) as journal, journal.batch():
        for poll in polls:
            journal.add_poll(poll)
    tracemalloc.start()
    with SessionReader(tmp_path) as reader:
        held = tracemalloc.get_traced_memory()[0]
        tracemalloc.stop()
        assert len(reader.polls) == 20_000
        assert held < 80 * 20_000  # objects took 200 each
        assert [*reader.polls] == polls
        assert reader.polls[-1] == polls[-1]
        assert reader.polls[3:9:2] == tuple(polls[3:9:2])
