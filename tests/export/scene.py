"""One small session at the Larkfell hut, as model objects."""

from __future__ import annotations

from telltick.model.clock import NS, Anchor, AudioClock
from telltick.model.document import SessionDocument
from telltick.model.marks import Mark, MarkKind, MarkRow, Origin, Step
from telltick.model.measurement import Measurement, StepReading
from telltick.model.readings import (
    Estimate,
    Latency,
    PollingFacts,
    Reading,
    TrialReading,
    Verdict,
)
from telltick.model.session import Ending, Gap, GapKind, HealthNote, Outcome, Request, SessionFacts, Verb
from telltick.model.traffic import Burst, Direction

RATE = 48_000
STARTED = 1_777_748_580 * NS  # 2026-05-02T19:03:00Z
EVIL = "=1+2 <b>&amp; --> \x1b[31mred\x1b[0m \u202eabc\r\n- end"

FACTS = SessionFacts(
    name="larkfell hut",
    started_wall_ns=STARTED,
    rate_hz=RATE,
    source="simulated bench",
    poll={"baud": 4800, "framing": "8N1", "interval_s": 0.2},
    setup={"antenna": "beam"},
    program="telltick 0.1.0",
    versions={"numpy": "2"},
)
MARKS = (
    Mark(1, 10 * NS, 14 * NS, MarkKind.CHANGE, "antenna", "dummy load", "screwed on"),
    Mark(2, 20 * NS, 20 * NS, MarkKind.NOTE, note=EVIL),
    Mark(3, 25 * NS, 25 * NS, MarkKind.PLAIN, origin=Origin.PROGRAM),
    Mark(4, 50 * NS, None, MarkKind.CHANGE, "cable", late=True),
)
FOUND = Reading(
    80, 40.0, -52.1, -49.0, Estimate(4.8, 4.6, 5.0), 3.1, Verdict.TIED, 0.0001, None, ("Tones fill 60 %.",)
)
TOO_FEW = Reading(3, 2.0, -52.0, warnings=("Not enough polls for a reading: 9 more are needed.",))


TRIAL = TrialReading(
    False, 84, 2, 16, 0.0625, 7, 4.1, 4.3, Estimate(1.2, 0.9, 1.5), 0.042, warnings=("Said once.",)
)


def session(**changes) -> SessionDocument:
    """Sixty seconds of audio in two runs, a gap of 5 s after the first 30."""
    anchors = [Anchor(0, 0, NS, STARTED), Anchor(1, 30 * RATE, 36 * NS, STARTED)]
    parts = {
        "name": "2026-05-02T1903Z-larkfell-hut",
        "facts": FACTS,
        "clock": AudioClock(RATE, anchors, 60 * RATE),
        "samples": 60 * RATE,
        "bursts": (
            Burst(2 * NS, 2 * NS + 8_000_000, Direction.TX, b"RF;", 0),
            Burst(2 * NS + 12_000_000, 2 * NS + 40_000_000, Direction.RX, b"\x3e\x10", 0),
            Burst(33 * NS, 33 * NS + 8_000_000, Direction.TX, b"RF;", 1),  # in the gap: no audio
        ),
        "marks": MARKS,
        "mark_rows": (MarkRow(1, MARKS[0]), MarkRow(2, MARKS[1]), MarkRow(3, MARKS[0], withdrawn=True)),
        "gaps": (Gap(GapKind.DEVICE_LOST, 30 * RATE, 31 * NS, 36 * NS, "unplugged"),),
        "health": (HealthNote(40 * NS, "clipping", 12.0),),
        "requests": (Request(1, 3 * NS, Verb.SET_BAUD, "4800"), Request(2, 4 * NS, Verb.FINISH)),
        "outcomes": (Outcome(1, 3 * NS + 20_000_000, True, "baud: 4800"),),
        "ending": Ending(66 * NS, "requested"),
    }
    return SessionDocument(**{**parts, **changes})


def measurement(**changes) -> Measurement:
    """One step measured, one too short."""
    parts = {
        "polling": PollingFacts(83, 0.2, 0.006, 4800, "8N1", 0.15),
        "latency": Latency(Estimate(0.0421, 0.0418, 0.0424), 0.5, None, 30.0),
        "whole": FOUND,
        "steps": (
            StepReading(Step(0, NS, 10 * NS, {"antenna": "beam"}), FOUND),
            StepReading(Step(1, 14 * NS, 66 * NS, {"antenna": "dummy load"}, ("antenna",)), TOO_FEW),
        ),
    }
    return Measurement(**{**parts, **changes})
