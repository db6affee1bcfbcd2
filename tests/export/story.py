"""A session at the Larkfell hut with everything measured: what a full report is made of."""

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
)
from telltick.model.cautions import DUMMY_LOAD
from telltick.model.characteristics import BitsHeard, Carrier, CharacterRate, Heard, Period, Portrait
from telltick.model.clock import NS
from telltick.model.evidence import Clip, Evidence, FileDigest, Timeline
from telltick.model.framing import Framing
from telltick.model.marks import Step
from telltick.model.measurement import Measurement, StepReading
from telltick.model.on_air import Environment, ExpectedNoise, OnAir
from telltick.model.readings import Estimate, Reading, Spectrum, Verdict
from tests.export.scene import EVIL, FOUND, RATE, STARTED, TOO_FEW, TRIAL, measurement, session

BEAM = {"antenna": "beam", "cable": "A", "polling": "on"}
LOAD = {**BEAM, "antenna": "dummy load"}
OFF = {**LOAD, "polling": "off"}
QUIETER = replace(
    FOUND, noise_dbfs=-62.0, excess_db=Estimate(14.2, 13.9, 14.5), i_over_n_db=14.0, warnings=()
)
NOTHING = Reading(
    70, 30.0, -62.1, None, Estimate(0.02, -0.08, 0.12), None, Verdict.NO_TIE, 0.41, -14.8
)  # fmt: skip


def spectrum() -> Spectrum:
    """A floor that falls with frequency, a comb above it, two steady tones."""
    freq = np.arange(0.0, 4000.0, 46.875)
    floor = -80 - freq / 300
    tonal = np.isin(np.arange(len(freq)), (20, 21, 45))
    comb = 9 * np.exp(-(((freq - 1200) / 700) ** 2))
    return Spectrum(freq, floor + 6 * tonal, floor + comb + 6 * tonal, floor, tonal)


def portrait() -> Portrait:
    """Louder while the reply flows."""
    at = np.arange(-0.03, 0.1, 0.001)
    ratio = 1 + 3.0 * ((at > 0.012) & (at < 0.04))
    return Portrait(at, ratio, ratio - 0.3, ratio + 0.3, 0.008, (0.012, 0.04), Carrier.REPLY, 4.2, 83)


def on_air() -> OnAir:
    """Levels as a calibrated bench has them."""
    expected = ExpectedNoise(31.2, -105.4, -112.0, -97.0)
    return OnAir(
        -118.0, -104.0, "S1", "S3", 14.1e6, Environment.RURAL, expected, 1.4, "about as strong as band noise"
    )


def answers() -> Answers:
    """Two setups, one change, findings of every verdict."""
    change = Change(
        ("antenna",), BEAM, LOAD, (0, 2), (1,), Estimate(9.4, 9.0, 9.8), Estimate(-0.2, -0.6, 0.2),
        Estimate(-9.9, -10.1, -9.7), "interference", ChangeVerdict.SAME, 1.0, 0.31, 0.002, 2, None,
        "I differs by -0.2 dB (-0.6 to +0.2), within 1 dB.",
    )  # fmt: skip
    undecided = replace(
        change, factors=("cable", "choke"), verdict=ChangeVerdict.UNDECIDED, more_polls=44, swaps=1
    )
    changed = replace(change, factors=("polling",), after=OFF, verdict=ChangeVerdict.CHANGED, swaps=1)
    findings = (
        Finding(
            "polling",
            "Is it tied to polling at all?",
            PathVerdict.SUPPORTED,
            "It stops with it.",
            "What polling switches on and off comes from polling.",
            (0, 3),
        ),
        Finding(
            "antenna",
            "Does it come in by the antenna?",
            PathVerdict.RULED_OUT,
            "I stays.",
            "A dummy load receives nothing (common practice, no source).",
            (0, 1),
        ),
        Finding(
            "cable",
            "Is it on the serial cable?",
            PathVerdict.UNDECIDED,
            "The interval is too wide.",
            "",
            (1,),
        ),
        Finding("ahead of rf gain", "Ahead of the RF gain control?", PathVerdict.CONTRADICTORY, "Torn."),
        Finding("supply", "Through the supply?", PathVerdict.NOT_TESTED, "The supply was never changed."),
    )
    setups = (
        SetupReading(BEAM, (0, 2), FOUND, Estimate(0.1, -0.2, 0.4)),
        SetupReading(LOAD, (1,), QUIETER, None, False, 12.0),
    )
    steps = (NextTest("supply", "battery", ("supply",), "It splits the rest.", DUMMY_LOAD),)
    return Answers(setups, (change, undecided, changed), findings, steps, 6, ("Six changes were compared.",))


def full_measurement(**changes) -> Measurement:
    """Four steps, and every other result too."""
    heard = Heard(-50.1, -41.3)
    rate = CharacterRate(4800, Framing.parse("8N1"), 0.91, 0.3)
    steps = (
        StepReading(Step(0, NS, 10 * NS, BEAM), FOUND, heard, rate, portrait(), 0.0, on_air()),
        StepReading(Step(1, 14 * NS, 22 * NS, LOAD, ("antenna",)), QUIETER, heard, more_s=12.0),
        StepReading(Step(2, 22 * NS, 29 * NS, BEAM, ("antenna",)), FOUND),
        StepReading(Step(3, 40 * NS, 50 * NS, OFF, ("antenna", "polling")), NOTHING),
        StepReading(Step(4, 55 * NS, 66 * NS, {**LOAD, "note": EVIL}, ("polling", "note")), TOO_FEW),
    )
    parts = {
        "steps": steps,
        "spectrum": spectrum(),
        "trial": replace(TRIAL, highest_log10_e=4.3),
        "portrait": portrait(),
        "heard": heard,
        "character": rate,
        "bits": BitsHeard(7.1, 80, True, True, "the bits lead noise of the same length"),
        "period": Period(Estimate(0.2, 0.19999, 0.20001), 0.05, 12.0, 1e-6),
        "on_air": on_air(),
        "answers": answers(),
    }
    return measurement(**{**parts, **changes})


def clips() -> tuple[Clip, ...]:
    """Two seconds of noise, and of ticks."""
    noise = np.random.default_rng(5).normal(0, 0.01, 2 * RATE)
    ticks = np.zeros(2 * RATE)
    ticks[:: RATE // 5] = 0.1
    return (
        Clip("quiet", "Noise alone", "No bytes flow.", noise, RATE),
        Clip("polled", "With polling", "Five ticks a second.", noise + ticks, RATE),
        Clip("interference", "Interference alone", "The average over all polls.", ticks, RATE),
    )


def timeline() -> Timeline:
    """Sixty seconds in a column each, a swap after ten."""
    at = np.arange(0.5, 60.0)
    level = np.where(at < 10, -52.0, -62.0)
    return Timeline(at, level, level + 9)


def evidence(**changes) -> Evidence:
    """Everything."""
    parts = {
        "session": session(),
        "measurement": full_measurement(),
        "clips": clips(),
        "timeline": timeline(),
        "files": (
            FileDigest("journal.sqlite", 106_496, "0" * 64),
            FileDigest("audio/000000000000.wav", 5_760_044, "a" * 64),
        ),
        "program": "telltick 0.1.0",
        "versions": {"numpy": "2.3", "scipy": "1.16"},
        "made_wall_ns": STARTED + 3600 * NS,
    }
    return Evidence(**{**parts, **changes})
