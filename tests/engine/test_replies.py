"""Replies are counted over all that a session holds."""

from __future__ import annotations

import dataclasses
import statistics

import pytest

from telltick.engine.offline import measure_session
from telltick.engine.replies import count_replies
from telltick.export.json_out import measurement_document
from telltick.export.summary import summary_text
from telltick.model.clock import NS
from telltick.model.session import HealthNote
from telltick.model.traffic import Poll, PollOutcome
from telltick.store.journal import Journal
from telltick.store.session import SessionReader
from tests.engine.sessions import bench_facts, rendered, write_rendered

SECONDS = 10.0


@pytest.fixture
def troubled(tmp_path):
    """A session whose radio let one request pass, lost one to the port, came late twice and said rubbish."""
    folder = write_rendered(tmp_path / "s", rendered(seconds=SECONDS))
    number = len(rendered(seconds=SECONDS).polls)
    with Journal.open(folder) as journal:
        for k, outcome in enumerate((PollOutcome.TIMEOUT, PollOutcome.ERROR)):
            journal.add_poll(Poll(number + k, 9 * NS, 9 * NS, outcome))
        journal.add_health(HealthNote(NS, "late reply", 2.0, "words"))
        journal.add_health(HealthNote(NS, "serial garbage", 1.0, "words"))
        journal.add_health(HealthNote(2 * NS, "incomplete reply", 0.0, "from an older program"))
        journal.add_health(HealthNote(NS, "echo", 1.0, "words"))
    return folder


def test_every_outcome_and_trouble_is_counted_and_the_time_to_reply_told(troubled):
    took_ms = [poll.reply_ns / 1e6 for poll in rendered(seconds=SECONDS).polls]
    with SessionReader(troubled) as reader:
        counted = count_replies(reader)
    assert (counted.sent, counted.replies) == (len(took_ms) + 2, len(took_ms))
    assert (counted.timeouts, counted.errors, counted.late, counted.garbage) == (1, 1, 2, 2)
    assert counted.echo
    assert counted.median_ms == pytest.approx(statistics.median(took_ms))
    # Python's own quantiles, by the same rule (inclusive) as numpy's default.
    assert counted.p95_ms == pytest.approx(statistics.quantiles(took_ms, n=20, method="inclusive")[-1])


def test_measure_tells_them_as_json_and_in_words(troubled):
    with SessionReader(troubled) as reader:
        document = measurement_document(reader.document(), measure_session(reader))
    replies = document["polling"]["replies"]
    assert (replies["timeouts"], replies["errors"], replies["late"], replies["garbage"]) == (1, 1, 2, 2)
    text = " ".join(summary_text(document).split())
    assert f"replies: {replies['replies']} of {replies['sent']} polls, " in text
    assert "1 timeout, 1 failed on the port, 2 late, 2 garbage; the cable echoes" in text


def test_where_another_program_polls_there_is_no_count_and_a_reason(tmp_path):
    facts = dataclasses.replace(bench_facts(), poll={"baud": 9600})
    with Journal.create(tmp_path, facts):
        pass
    with SessionReader(tmp_path) as reader:
        assert count_replies(reader) is None
        document = measurement_document(reader.document(), measure_session(reader))
    assert document["polling"]["replies"] is None
    assert any(words.startswith("polling.replies: ") for words in document["warnings"])
    assert "replies" not in summary_text(document)
