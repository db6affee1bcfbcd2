"""Make the shipped example session: ``python -m tests.tools.make_recordings``.

A simulated afternoon at the Larkfell club's remote hilltop receiving hut. The audio is rendered by the same
radio, schedule and receiver as the live demo, at 12 kHz to stay small.
"""

from __future__ import annotations

import shutil
from pathlib import Path

from telltick import __version__
from telltick.model.clock import NS, Anchor
from telltick.model.marks import MarkKind, Origin
from telltick.model.session import Ending, SessionFacts
from telltick.sources.bench.offline import render_session_audio
from telltick.sources.bench.parts import bench_plan
from telltick.sources.bench.script import Change
from telltick.sources.bench.state import DEFAULT_SETUP
from telltick.store.journal import Journal
from telltick.store.segments import AudioWriter

RECORDINGS = Path(__file__).parents[2] / "recordings"
NAME = "2026-05-02T1903Z-larkfell-hut"
STARTED_WALL_NS = 1_777_748_580 * NS  # 2026-05-02T19:03:00Z
RATE_HZ = 12_000
SECONDS = 150.0
SEED = 20_260_502
HANDS_ON_S = 2.0

# What the operator does: (begun, factor, value). The bench changes half way through the hands-on time.
BY_HAND = (
    (38.0, "antenna", "dummy load"),
    (50.0, "antenna", "beam"),
    (60.0, "cable", "B"),
    (72.0, "cable", "A"),
    (82.0, "choke", "fitted"),
    (94.0, "choke", "none"),
    (104.0, "rf gain", "minimum"),
    (116.0, "rf gain", "full"),
)
# What the program does when asked.
BY_PROGRAM = (
    (12.0, "coin trial", "on"),
    (24.0, "coin trial", "off"),
    (24.0, "polling", "off"),
    (30.0, "polling", "on"),
    (126.0, "baud", "4800"),
    (138.0, "baud", "9600"),
)
NOTES = (
    (5.0, "clicks in the headphones at five a second"),
    (26.0, "silent while nothing is polled"),
    (55.0, "no rain, wind on the mast"),
    (147.0, "monitor level, supply and other frequencies: next time"),
)


def make(folder: Path) -> None:
    """Render the session into a new folder."""
    plan = bench_plan("simulated")
    changes = [Change(t + HANDS_ON_S / 2, factor, value) for t, factor, value in BY_HAND]
    changes += [Change(t, factor, value) for t, factor, value in BY_PROGRAM]
    made = render_session_audio(SEED, SECONDS, plan, changes, rate_hz=RATE_HZ)
    setup = {
        **DEFAULT_SETUP,
        "polling": "on",
        "baud": f"{plan.baud}",
        "poll interval": f"{plan.interval_s:g} s",
    }
    facts = SessionFacts(
        name="larkfell hut (simulated)",
        started_wall_ns=STARTED_WALL_NS,
        rate_hz=RATE_HZ,
        source="simulated bench",
        audio_name="simulated receiver",
        port="simulated",
        poll={
            "frame_text": plan.frame_text,
            "interval_s": plan.interval_s,
            "baud": plan.baud,
            "framing": plan.framing,
        },
        setup=setup,
        seed=SEED,
        program=f"telltick {__version__}",
    )
    folder.mkdir(parents=True)
    with Journal.create(folder, facts) as journal, AudioWriter(folder, RATE_HZ) as writer:
        writer.write(made.audio)
        with journal.batch():
            for second in range(int(SECONDS)):
                journal.add_anchor(Anchor(0, second * RATE_HZ, second * NS, STARTED_WALL_NS + second * NS))
            for one in made.drawn:
                journal.add_trial_slot(one)
            journal.add_bursts(made.bursts)
            for poll in made.polls:
                journal.add_poll(poll)
            _marks(journal)
            journal.end(Ending(int(SECONDS * NS), "requested", "the session ends"))


def _marks(journal: Journal) -> None:
    for t, factor, value in BY_HAND:
        settled = int((t + HANDS_ON_S) * NS)
        journal.add_mark(
            t_ns=int(t * NS), settled_ns=settled, kind=MarkKind.CHANGE, factor=factor, value=value
        )
    for t, factor, value in BY_PROGRAM:
        at = int(t * NS)
        journal.add_mark(
            t_ns=at,
            settled_ns=at,
            kind=MarkKind.CHANGE,
            factor=factor,
            value=value,
            origin=Origin.PROGRAM,
        )
    for t, text in NOTES:
        journal.add_mark(t_ns=int(t * NS), kind=MarkKind.NOTE, note=text)


if __name__ == "__main__":
    target = RECORDINGS / NAME
    shutil.rmtree(target, ignore_errors=True)
    make(target)
    print(target)
