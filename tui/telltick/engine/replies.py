"""How the radio answered, counted over what a session holds."""

from __future__ import annotations

from telltick.engine.condition import TroubleTally, polls_itself
from telltick.model.replies import Replies
from telltick.model.traffic import PollOutcome
from telltick.store.session import SessionReader

ECHO = "echo"


def count_replies(reader: SessionReader) -> Replies | None:
    """Count every poll and every trouble with replies; None where no poller of ours was at work.

    Args:
        reader: an open session that holds all its polls.
    """
    if not polls_itself(reader.facts):
        return None
    polls = reader.polls
    median_ms, p95_ms = polls.reply_ms(0.50, 0.95) or (None, None)
    troubles = TroubleTally()
    troubles.follow(reader.health)
    late, garbage = troubles.total
    return Replies(
        sent=len(polls),
        replies=polls.ended_in(PollOutcome.REPLY),
        timeouts=polls.ended_in(PollOutcome.TIMEOUT),
        errors=polls.ended_in(PollOutcome.ERROR),
        late=late,
        garbage=garbage,
        echo=any(note.kind == ECHO for note in reader.health),
        median_ms=median_ms,
        p95_ms=p95_ms,
    )
