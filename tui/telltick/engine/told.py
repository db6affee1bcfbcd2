"""How far a journal tells of the line: there may be sound whose bytes have not been journalled yet.

Bursts reach the journal soon after their last byte, unless another program keeps it locked: then sound goes
on being written, and what the line said meanwhile follows later. Whoever takes such sound for quiet is wrong.
"""

from __future__ import annotations

from telltick.model.clock import NS
from telltick.model.session import SessionFacts
from telltick.store.session import SessionReader

HOLD_NS = 3 * NS // 10  # a burst reaches the journal at most this long after its last byte
BEHIND_NS = 3 * NS  # anchors come each second: a journal so far behind the sound is held up


def told_until(reader: SessionReader, *, growing: bool) -> int:
    """Sample before which every burst that could be heard is in the journal.

    Args:
        reader: an open session.
        growing: a recorder is at work on it.
    """
    samples = reader.audio.samples
    if reader.ending is not None or not reader.anchors:
        return samples
    behind_ns = _behind_ns(reader)
    if not growing and behind_ns < BEHIND_NS:
        return samples  # its recorder was killed: nothing more will come
    return max(0, samples - max(0, behind_ns + _delay_ns(reader.facts)) * reader.facts.rate_hz // NS)


def untold_s(reader: SessionReader) -> float:
    """Seconds of sound at the end of which the journal does not tell; 0 while it is held up by nobody."""
    if reader.ending is not None or not reader.anchors:
        return 0.0
    behind_ns = _behind_ns(reader)
    return behind_ns / NS if behind_ns >= BEHIND_NS else 0.0


def _behind_ns(reader: SessionReader) -> int:
    """How long before the end of the sound the newest entry was made; negative where it came after it."""
    return reader.end_ns - reader.told_ns


def _delay_ns(facts: SessionFacts) -> int:
    """How long after its last byte a burst may reach the journal that nobody holds up."""
    timeout_ns = min(float(facts.poll.get("reply_timeout_ms", 0.0)), 1000.0) * 1e6
    return HOLD_NS + round(timeout_ns)
