"""Sessions of the simulated bench on disk, rendered much faster than real time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from telltick.model.clock import NS, Anchor
from telltick.model.marks import MarkKind
from telltick.model.session import Ending, Gap, GapKind, SessionFacts
from telltick.model.traffic import Burst, Poll
from telltick.sources.bench.offline import RenderedSession, render_session_audio
from telltick.sources.bench.parts import bench_plan
from telltick.sources.bench.script import Change
from telltick.sources.bench.state import DEFAULT_SETUP
from telltick.store.journal import Journal
from telltick.store.segments import AudioWriter

RATE = 48_000
STARTED = 1_777_748_580 * NS  # 2026-05-02T19:03:00Z


@dataclass(frozen=True, slots=True)
class Hands:
    """A change as an operator makes and marks it.

    Attributes:
        begun_s: session time of the key.
        done_s: session time of its confirmation.
        factor: which factor.
        value: its new value.
    """

    begun_s: float
    done_s: float
    factor: str
    value: str


@lru_cache(maxsize=8)
def rendered(
    seed: int = 1, seconds: float = 40.0, changes: tuple[Change, ...] = (), latency_s: float = 0.063
) -> RenderedSession:
    """A rendering shared by tests; nobody may write to it."""
    made = render_session_audio(seed, seconds, changes=changes, latency_s=latency_s)
    made.audio.flags.writeable = False
    return made


def bench_facts(rate_hz: int = RATE) -> SessionFacts:
    """Facts of a session that was polled by a poller of ours."""
    plan = bench_plan("simulated")
    poll = {"interval_s": plan.interval_s, "baud": plan.baud, "framing": plan.framing}
    setup = {**DEFAULT_SETUP, "polling": "on", "baud": "9600", "poll interval": "0.2 s"}
    return SessionFacts(
        name="larkfell hut",
        started_wall_ns=STARTED,
        rate_hz=rate_hz,
        source="simulated bench",
        poll=poll,
        setup=setup,
        seed=1,
    )


def write_rendered(folder: Path, session: RenderedSession, hands: Sequence[Hands] = ()) -> Path:
    """A rendered session as a recorder would have left it."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    with Journal.create(folder, bench_facts(session.rate_hz)) as journal:
        write_audio(folder, [session.audio])
        with journal.batch():
            seconds = len(session.audio) // session.rate_hz
            for second in range(seconds):
                journal.add_anchor(Anchor(0, second * session.rate_hz, second * NS, STARTED + second * NS))
            add_traffic(journal, session.bursts, session.polls)
            add_marks(journal, hands)
            journal.end(Ending(len(session.audio) * NS // session.rate_hz, "time is up"))
    return folder


def write_audio(folder: Path, parts: Iterable[np.ndarray], rate_hz: int = RATE) -> int:
    """Audio of a session; returns how many samples it has."""
    with AudioWriter(folder, rate_hz) as writer:
        for part in parts:
            writer.write(part)
        return writer.samples


def add_traffic(journal: Journal, bursts: Iterable[Burst], polls: Iterable[Poll]) -> None:
    """Bursts and polls as the poller reports them."""
    journal.add_bursts(bursts)
    for poll in polls:
        journal.add_poll(poll)


def add_marks(journal: Journal, hands: Iterable[Hands]) -> None:
    """The operator's changes."""
    for one in hands:
        journal.add_mark(
            t_ns=round(one.begun_s * NS),
            settled_ns=round(one.done_s * NS),
            kind=MarkKind.CHANGE,
            factor=one.factor,
            value=one.value,
        )


def write_with_gap(folder: Path, before: RenderedSession, after: RenderedSession, gap_s: float) -> Path:
    """Two capture runs, `gap_s` seconds lost between them; each keeps its own rendering's latency."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    rate, first = before.rate_hz, len(before.audio)
    lost_ns = first * NS // rate
    back_ns = lost_ns + round(gap_s * NS)
    with Journal.create(folder, bench_facts(rate)) as journal:
        samples = write_audio(folder, [before.audio, after.audio], rate)
        with journal.batch():
            journal.add_anchor(Anchor(0, 0, 0, STARTED))
            number = journal.open_gap(Gap(GapKind.DEVICE_LOST, first, lost_ns, None, "unplugged"))
            journal.close_gap(number, first, back_ns)
            journal.add_anchor(Anchor(1, first, back_ns, STARTED + back_ns))
            journal.add_bursts(before.bursts)
            later = max(burst.poll or 0 for burst in before.bursts) + 1
            journal.add_bursts(moved(after.bursts, back_ns, later))
            journal.end(Ending(back_ns + (samples - first) * NS // rate, "time is up"))
    return folder


def moved(bursts: Iterable[Burst], by_ns: int, by_polls: int) -> list[Burst]:
    """The same traffic later in a session."""
    return [
        Burst(one.start_ns + by_ns, one.end_ns + by_ns, one.direction, one.data, (one.poll or 0) + by_polls)
        for one in bursts
    ]
