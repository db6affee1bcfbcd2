"""One small session at the Larkfell hut, as model objects."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from telltick.model.answers import (
    Answers,
    Change,
    ChangeVerdict,
    Finding,
    NextTest,
    PathVerdict,
    SetupReading,
)  # fmt: skip
from telltick.model.characteristics import (
    BitsHeard,
    Carrier,
    CharacterRate,
    CoherentAverage,
    Heard,
    Period,
    Portrait,
)
from telltick.model.clock import NS, Anchor, AudioClock
from telltick.model.document import SessionDocument
from telltick.model.framing import Framing
from telltick.model.marks import Mark, MarkKind, MarkRow, Origin, Step
from telltick.model.measurement import Measurement, StepReading
from telltick.model.on_air import Environment, ExpectedNoise, OnAir
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


HEARD = Heard(-31.6, -27.7)
CHARACTER = CharacterRate(9600, Framing(), 0.97, 0.6)
PORTRAIT = Portrait(
    np.arange(-2, 3) * 0.001,
    np.array([1.0, 1.1, 4.0, 3.9, 1.0]),
    np.array([0.9, 1.0, 3.5, 3.4, 0.9]),
    np.array([1.1, 1.2, 4.5, 4.4, np.nan]),
    0.003,
    (0.008, 0.031),
    Carrier.REPLY,
    9.1,
    75,
)
ON_AIR = OnAir(
    -104.0, -99.0, "S4", "S5", 14.1e6, Environment.RURAL, ExpectedNoise(35.4, -104.8, -109.4, -95.6), 5.8,
    "heard above band noise",
)  # fmt: skip
BITS = BitsHeard(6.5, 30, True, True, "The bytes fit the audio 6.7 times better than other texts.")
PERIOD = Period(Estimate(0.2, 0.19999, 0.20001), 0.05, 900.0, 1e-300, FOUND, 0.036)
CHANGE = Change(
    ("antenna",), {"antenna": "beam"}, {"antenna": "dummy load"}, (0,), (1,),
    Estimate(9.0, 8.8, 9.2), Estimate(0.1, -0.1, 0.3), Estimate(-9.8, -9.9, -9.7),
    "interference", ChangeVerdict.SAME, because="antenna beam to dummy load: I differs by +0.1 dB.",
)  # fmt: skip
ANSWERS = Answers(
    setups=(
        SetupReading({"antenna": "beam"}, (0,), FOUND, Estimate(0.1, -0.2, 0.4), more_s=0.0),
        SetupReading({"antenna": "dummy load"}, (1,), TOO_FEW),
    ),
    changes=(CHANGE,),
    findings=(
        Finding("antenna", "Does it come in through antenna and feed line?", PathVerdict.RULED_OUT,
                "Antenna beam to dummy load: within 1 dB it is the same.", "Common practice.", (0, 1)),
        Finding("supply", "Does it come in through the supply?", PathVerdict.NOT_TESTED, "Not tested."),
    ),
    next_tests=(NextTest("rf gain", "minimum", ("ahead of rf gain", "behind rf gain"), "It tells apart."),),
    comparisons=3,
)  # fmt: skip


def everything() -> Measurement:
    """A measurement in which nothing is missing."""
    first, second = measurement().steps
    told = {"heard": HEARD, "character": CHARACTER, "portrait": PORTRAIT, "on_air": ON_AIR, "more_s": 0.0}
    return measurement(
        steps=(replace(first, **told), replace(second, more_s=12.4)),
        trial=TRIAL,
        portrait=PORTRAIT,
        heard=HEARD,
        character=CHARACTER,
        bits=BITS,
        coherent=CoherentAverage(75, True, Estimate(-9.5, -10.2, -8.9), 18.1, True, False),
        period=PERIOD,
        on_air=ON_AIR,
        answers=ANSWERS,
    )
