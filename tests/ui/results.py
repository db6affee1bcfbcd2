"""Results of the Larkfell club's bench, made up and fixed: steps, changes, findings, a coin trial."""

from __future__ import annotations

import numpy as np

from telltick.model.answers import (
    Answers,
    Change,
    ChangeVerdict,
    Finding,
    NextTest,
    PathVerdict,
    SetupReading,
)
from telltick.model.cautions import DUMMY_LOAD
from telltick.model.characteristics import Carrier, CharacterRate, Heard, Portrait
from telltick.model.clock import NS
from telltick.model.framing import Framing
from telltick.model.marks import Step
from telltick.model.measurement import Measurement, StepReading
from telltick.model.readings import Estimate, Latency, PollingFacts, Reading, TrialReading, Verdict

BEAM = {"antenna": "beam", "cable": "A", "choke": "none", "rf gain": "full", "polling": "on"}
LOAD = BEAM | {"antenna": "dummy load"}
CHOKE = LOAD | {"choke": "fitted"}
CABLE = CHOKE | {"cable": "B"}
OFF = CABLE | {"polling": "off"}


def reading(
    excess_db: float, half_db: float, noise_dbfs: float, polls: int, seconds: float = 18.0
) -> Reading:
    ratio_db = float(10 * np.log10(10 ** (excess_db / 10) - 1))
    estimate = Estimate(excess_db, excess_db - half_db, excess_db + half_db)
    return Reading(
        polls, seconds, noise_dbfs, noise_dbfs + ratio_db, estimate, ratio_db, Verdict.TIED, 1e-9,
        ratio_db + 0.4,
    )  # fmt: skip


def portrait(*, sure: bool = True) -> Portrait:
    at = np.arange(-30, 105) * 1e-3
    rise = np.where((at >= 0) & (at < 0.0125), 1.6, 0.0) + np.where((at >= 0.018) & (at < 0.044), 5.8, 0.0)
    ratio = 1 + rise + np.random.default_rng(3).normal(0, 0.06, len(at))
    half = 0.15 + 0.06 * rise
    carrier = Carrier.REPLY if sure else Carrier.UNKNOWN
    lead = 6.2 if sure else 1.4
    return Portrait(at, ratio, ratio - half, ratio + half, 0.0125, (0.018, 0.044), carrier, lead, 313)


def steps() -> tuple[StepReading, ...]:
    def step(index, start, end, setup, changed, reading, **more) -> StepReading:
        return StepReading(Step(index, start * NS, end * NS, setup, changed), reading, **more)

    heard, nine = Heard(-31.2, -24.6), CharacterRate(9600, Framing.parse("8N1"), 0.81, 0.22)
    few = Reading(0, 5.0, -50.0, warnings=("Not enough polls for a reading: 12 more are needed.",))
    return (
        step(
            0, 0, 18, BEAM, (), reading(6.58, 0.10, -40.1, 89), heard=heard, more_s=0.0, portrait=portrait()
        ),
        step(1, 21, 36, LOAD, ("antenna",), reading(15.55, 0.12, -50.0, 74), character=nine, more_s=0.0),
        step(
            2,
            39,
            52,
            CHOKE,
            ("choke",),
            reading(8.15, 0.13, -50.0, 64),
            portrait=portrait(sure=False),
            more_s=0.0,
        ),
        step(3, 55, 66, CABLE, ("cable",), reading(0.97, 0.72, -50.0, 53), more_s=12.0),
        step(4, 66, 71, OFF, ("polling",), few, more_s=None),
        step(5, 71, 78, CABLE, ("polling",), reading(1.00, 0.78, -50.0, 33), more_s=14.0),
    )


def changes() -> tuple[Change, ...]:
    return (
        Change(
            ("antenna",), BEAM, LOAD, (0,), (1,), Estimate(8.97, 8.81, 9.13), Estimate(0.10, -0.25, 0.45),
            Estimate(-9.9, -10.1, -9.7), "interference", ChangeVerdict.SAME, 1.0, 0.58, 0.0004, 1, None,
            "I stayed at -34.5 dBFS (+0.1 dB, -0.3 to +0.5) while N fell by 9.9 dB.",
        ),
        Change(
            ("choke",), LOAD, CHOKE, (1,), (2,), Estimate(-7.4, -7.6, -7.2), Estimate(-8.1, -8.4, -7.8),
            Estimate(0.0, -0.2, 0.2), "interference", ChangeVerdict.CHANGED, 1.0, 1e-7, None, 2, None,
            "I fell by 8.1 dB when the choke went on, and N stayed.",
        ),
        Change(
            ("cable", "rf gain"), CHOKE, CABLE, (2,), (3, 5), Estimate(-7.2, -8.1, -6.3), None,
            Estimate(0.1, -0.6, 0.8), "excess", ChangeVerdict.UNDECIDED, 1.0, 0.07, 0.2, 1, 120,
            "The excess fell by 7.2 dB, but the interval reaches too far.",
        ),
    )  # fmt: skip


def findings() -> tuple[Finding, ...]:
    return (
        Finding(
            "tied", "is it tied to the polling at all?", PathVerdict.SUPPORTED,
            "With polling on the excess is +7.6 dB (+5.7 to +9.6), and by coin the odds are 20000 to 1.",
            "The draw alone decides when a poll goes out: nothing else on the bench knows.", (0, 1, 2, 3),
        ),
        Finding(
            "antenna", "does it come in by the antenna and feed line?", PathVerdict.RULED_OUT,
            "On the dummy load N fell by 9.9 dB and I stayed within 1 dB.",
            "What comes in by the antenna is lost with it. Common practice, no source.", (0, 1),
        ),
        Finding(
            "cable", "does it travel on the serial or USB cable?", PathVerdict.SUPPORTED,
            "A choke on the cable took 8.1 dB off I.", "A choke acts on common-mode current alone.", (1, 2),
        ),
        Finding("supply", "does it come through the supply?", PathVerdict.NOT_TESTED, "No step changed it."),
        Finding(
            "gain", "is it ahead of the RF gain control?", PathVerdict.CONTRADICTORY,
            "I fell with N in step 4 and stayed in step 6.", "", (3, 5),
        ),
        Finding(
            "frequency", "does it depend on the frequency?", PathVerdict.UNDECIDED,
            "The interval is 1.6 dB wide: 60 more polls would tell.", "", (3,),
        ),
    )  # fmt: skip


def answers() -> Answers:
    pools = (
        SetupReading(CABLE, (3, 5), reading(0.98, 0.45, -50.0, 86), Estimate(0.03, -0.9, 0.96), False, 0.0),
    )
    tests = (
        NextTest("supply", "battery", ("supply", "computer"), "It would split the two ways that are left."),
        NextTest("antenna", "dummy load", ("antenna",), "Once more, to see that it holds.", DUMMY_LOAD),
    )
    return Answers(pools, changes(), findings(), tests, 9)


def measurement() -> Measurement:
    return Measurement(
        polling=PollingFacts(362, 0.2, 0.006, 9600, "8N1", 0.121),
        latency=Latency(Estimate(0.0635, 0.0630, 0.0639)),
        whole=reading(7.64, 1.9, -44.6, 313, 78.0),
        steps=steps(),
        portrait=portrait(),
        heard=Heard(-31.2, -25.1),
        character=CharacterRate(9600, Framing.parse("8N1"), 0.81, 0.22),
        answers=answers(),
    )


def trial(cycles: int = 52, *, running: bool = True, per_cycle: float = 0.05) -> TrialReading:
    steps_up = np.random.default_rng(7).normal(per_cycle, 0.12, cycles)
    path = np.cumsum(steps_up)
    return TrialReading(
        running, cycles, 3, 6, 0.0333, 20260502, float(path[-1]), float(max(path.max(), 0)),
        Estimate(4.2, 3.1, 5.3) if cycles >= 10 else None, 0.0635, path,
    )  # fmt: skip
