"""Whole rounds of the simulated bench, measured step by step as a saved session would be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from telltick.measure.answers import answers_of
from telltick.measure.cells import power_cells
from telltick.measure.characters import burst_length_s, burst_spectra, character_rate
from telltick.measure.latency import find_latency
from telltick.measure.portrait import portrait
from telltick.measure.reading import take_reading
from telltick.measure.rows import PollRows, measure_rows
from telltick.model.answers import Answers
from telltick.model.clock import NS, Anchor, AudioClock
from telltick.model.marks import Mark, MarkKind, Step, steps_of
from telltick.model.measurement import StepReading
from telltick.model.readings import Latency
from telltick.model.traffic import Gate, gate_from_bursts
from telltick.sources.bench.offline import RenderedSession, render_session_audio
from telltick.sources.bench.parts import bench_plan
from telltick.sources.bench.script import Change
from telltick.sources.bench.state import DEFAULT_SETUP

RATE_HZ = 8_000
HANDS_ON_S = 1.0


@dataclass(frozen=True)
class Swap:
    """What an operator does: begun at `t_s`, over a second later, done to the bench half way."""

    t_s: float
    factor: str
    value: str


@dataclass(frozen=True)
class Told:
    """A round measured."""

    steps: tuple[StepReading, ...]
    rows: tuple[PollRows | None, ...]
    latency: Latency | None
    session: RenderedSession

    def answers(self, **how) -> Answers:
        """What its steps say together."""
        return answers_of(self.steps, self.rows, self.latency, **how)


def script(seconds_each: float, *swaps: tuple[str, str]) -> tuple[tuple[Swap, ...], float]:
    """Swaps one after another with equal steps before, between and after them; and the whole length."""
    each = seconds_each + HANDS_ON_S
    made = tuple(Swap(seconds_each + k * each, *swap) for k, swap in enumerate(swaps))
    return made, seconds_each + len(swaps) * each


def round_of(
    seed: int,
    path: str,
    seconds_each: float,
    *swaps: tuple[str, str],
    i_over_n_db: float = 5.5,
    characters: bool = False,
    interval_s: float = 0.2,
    unmarked: tuple[Swap, ...] = (),
) -> Told:
    """Render a scripted round and measure its steps; what is unmarked happens behind the operator's back."""
    made, seconds = script(seconds_each, *swaps)
    plan = replace(bench_plan("simulated"), interval_s=interval_s)
    done = [Change(s.t_s + HANDS_ON_S / 2, s.factor, s.value) for s in (*made, *unmarked)]
    session = render_session_audio(
        seed, seconds, plan, done, rate_hz=RATE_HZ, path=path, i_over_n_db=i_over_n_db
    )
    polling = {"polling": "on", "baud": f"{plan.baud}", "poll interval": f"{interval_s:g} s"}
    initial = {**DEFAULT_SETUP, **polling, "request": "answered by the radio"}
    marks = [
        Mark(k, int(s.t_s * NS), int((s.t_s + HANDS_ON_S) * NS), MarkKind.CHANGE, s.factor, s.value)
        for k, s in enumerate(made)
    ]
    return measured(session, steps_of(initial, marks, 0, int(seconds * NS)), characters=characters)


def measured(session: RenderedSession, steps: Sequence[Step], *, characters: bool = False) -> Told:
    """Measure a rendered session: one latency for all, rows and a reading for each step."""
    clock = AudioClock(session.rate_hz, [Anchor(0, 0, 0, 0)], len(session.audio))
    gate = gate_from_bursts(session.bursts, clock)
    cells = power_cells(session.audio, 0, session.rate_hz)
    latency = find_latency(cells.power, cells.first, gate)
    heard = gate.shifted(latency.shift_s(gate.start_s)) if latency else gate
    rows = measure_rows(session.audio, 0, session.rate_hz, heard)
    late_s = latency.seconds.value if latency else 0.0
    parts, readings = [], []
    for step in steps:
        part = rows.between(step.start_ns / NS + late_s, step.end_ns / NS + late_s)
        parts.append(part)
        reading = StepReading(step, take_reading(part, latency=latency))
        if characters and latency is not None:
            reading = _with_character(reading, session, cells, gate, latency)
        readings.append(reading)
    return Told(tuple(readings), tuple(parts), latency, session)


def _with_character(one: StepReading, session, cells, gate: Gate, latency: Latency) -> StepReading:
    inside = gate.between(one.step.start_ns / NS, one.step.end_ns / NS)
    if inside.polls < 20:
        return one
    heard = inside.shifted(latency.shift_s(inside.start_s))
    length_s = burst_length_s(heard)
    first = int((one.step.start_ns / NS) * session.rate_hz)
    last = int((one.step.end_ns / NS) * session.rate_hz)
    spectra = burst_spectra(session.audio[first:last], first, session.rate_hz, heard, length_s=length_s)
    low = max(0, round(one.step.start_ns / NS / 0.001) - cells.first)
    high = round(one.step.end_ns / NS / 0.001) - cells.first
    seen = portrait(np.asarray(cells.power[low:high]), cells.first + low, inside, latency)
    return replace(one, character=character_rate(spectra), portrait=seen)
