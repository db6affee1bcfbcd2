"""Sessions to read and write, with facts of the Larkfell hut."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from telltick.model.clock import NS, Anchor
from telltick.model.session import Ending, SessionFacts
from telltick.model.traffic import Burst, Direction, Poll, PollOutcome
from telltick.store.journal import Journal
from telltick.store.segments import AudioWriter

RATE = 8_000
FACTS = SessionFacts(
    name="larkfell hut",
    started_wall_ns=1_777_748_580 * NS,
    rate_hz=RATE,
    source="simulated bench",
    poll={"baud": 4800, "framing": "8N1", "interval_s": 0.2},
    setup={"antenna": "beam"},
    versions={"numpy": "2"},
)


def noise(samples: int, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).integers(-8000, 8000, samples, dtype=np.int16)


def poll_at(number: int, t_ns: int) -> tuple[list[Burst], Poll]:
    """A request of 5 ms and a reply of 20 ms."""
    ms = NS // 1000
    bursts = [
        Burst(t_ns, t_ns + 5 * ms, Direction.TX, b"RF;", number),
        Burst(t_ns + 10 * ms, t_ns + 30 * ms, Direction.RX, b"RF007012300;", number),
    ]
    return bursts, Poll(number, t_ns, t_ns, PollOutcome.REPLY, 5 * ms)


def write_session(folder: Path, seconds: int = 10, polls: int = 40, ended: bool = True) -> Path:
    """A whole session: audio, anchors, polls, an ending."""
    folder.mkdir(mode=0o700, exist_ok=True)
    with Journal.create(folder, FACTS) as journal, AudioWriter(folder, RATE, segment_s=4) as audio:
        audio.write(noise(seconds * RATE))
        with journal.batch():
            journal.add_anchor(Anchor(0, 0, NS, FACTS.started_wall_ns + NS))
            for number in range(polls):
                bursts, poll = poll_at(number, 2 * NS + number * NS // 5)
                journal.add_bursts(bursts)
                journal.add_poll(poll)
        if ended:
            journal.end(Ending((seconds + 1) * NS, "requested"))
    return folder
