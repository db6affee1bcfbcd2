"""Canned sessions for the screen: the Larkfell club's remote receiving hut, made up and repeatable."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from telltick.model.clock import NS
from telltick.model.errors import CancelledError
from telltick.model.marks import Mark, MarkKind, Origin, setup_at
from telltick.model.measurement import Measurement
from telltick.model.readings import Estimate, Latency, Reading, Spectrum, TrialReading, Verdict
from telltick.model.session import SessionFacts, Verb
from telltick.model.snapshot import InputHealth, Phase, PollingState, Snapshot, Strip, View
from tests.ui.results import measurement

SETUP = {"antenna": "beam", "cable": "A", "rf gain": "full", "supply": "mains", "polling": "on"}
POLL_S = 0.2
HOUR_NS = 3600 * NS


def facts(**changes) -> SessionFacts:
    values = {
        "name": "Larkfell hut",
        "started_wall_ns": 1_777_748_580 * NS,  # 2026-05-02 19:03 UTC
        "rate_hz": 48_000,
        "source": "simulated bench",
        "setup": SETUP,
    }
    return SessionFacts(**(values | changes))


def tied(excess_db: float = 6.2, polls: int = 142) -> Reading:
    ratio_db = float(10 * np.log10(10 ** (excess_db / 10) - 1))
    return Reading(
        polls, 30.0, -62.3, -62.3 + ratio_db, Estimate(excess_db, excess_db - 0.3, excess_db + 0.3), ratio_db,
        Verdict.TIED, 1e-9, None,
    )  # fmt: skip


def untied(polls: int = 142) -> Reading:
    excess = Estimate(-0.04, -0.19, 0.11)
    warnings = ("the polls are strictly periodic: the latency is known only modulo 200 ms",)
    return Reading(polls, 30.0, -71.8, None, excess, None, Verdict.NO_TIE, 0.61, -15.9, warnings)


def spectrum(excess_db: float, seed: int = 1) -> Spectrum:
    """Passband noise with a whistle and mains hum; hash with a comb at the character rate (9600 / 10)."""
    rng = np.random.default_rng(seed)
    freq = np.arange(0, 24_000, 46.875)
    band = 1 / (1 + np.exp(-(freq - 280) / 40)) / (1 + np.exp((freq - 2750) / 60))
    floor = -96 + 10 * np.log10(band + 1e-3) - freq / 900
    quiet = floor + rng.normal(0, 0.25, len(freq))
    quiet += 17 * np.exp(-(((freq - 1450) / 25) ** 2)) + 12 * np.exp(-(((freq - 100) / 30) ** 2))
    comb = 2.5 * np.cos(2 * np.pi * freq / 960) ** 2 + 4 * np.exp(-(((freq % 960 - 480) / 60) ** 2))
    extra = 10 ** ((floor + excess_db - 3 + comb) / 10) if excess_db > 0 else 0.0
    active = 10 * np.log10(10 ** (quiet / 10) + extra) + rng.normal(0, 0.2, len(freq))
    return Spectrum(freq, quiet, active, floor, quiet - floor > 6)


def strip(view: View, now_ns: int, excess_db: float, marks=()) -> Strip:
    """A poll each 200 ms: 12 bytes asked, 20 ms silence, 30 bytes answered."""
    cells, cell_ns = view.strip_cells, view.strip_cell_ns
    now = max(now_ns, 0) // cell_ns
    start = now // cells * cells
    column = np.arange(start, start + cells)
    column[column >= now] -= cells
    begin_s, end_s = column * cell_ns / NS, (column + 1) * cell_ns / NS

    def overlaps(low_s: float, high_s: float) -> np.ndarray:
        k = np.floor(begin_s / POLL_S)
        return ((begin_s < k * POLL_S + high_s) & (end_s > k * POLL_S + low_s)) | (
            end_s > (k + 1) * POLL_S + low_s
        )

    tx, rx = overlaps(0.003, 0.014), overlaps(0.034, 0.064)
    noise = np.random.default_rng(5).normal(0, 0.35, 4096)[column % 4096]
    envelope = -62.3 + noise + np.where(tx | rx, excess_db * np.where(rx, 0.9, 0.6), 0)
    envelope[column < 0] = np.nan
    tx[column < 0] = rx[column < 0] = False
    flags = tuple(
        (int(m.t_ns // cell_ns % cells), m) for m in marks if now - cells <= m.t_ns // cell_ns < now
    )
    return Strip(int(start) * cell_ns, cell_ns, int(now - start), tx, rx, envelope, flags)


def scripted_marks() -> tuple[Mark, ...]:
    """What happened in the saved session."""
    at = lambda seconds: int(seconds * NS)  # noqa: E731
    return (
        Mark(1, at(301), at(317), MarkKind.CHANGE, "antenna", "dummy load"),
        Mark(2, at(340), at(340), MarkKind.NOTE, note="hash stays with the load: not off the air"),
        Mark(3, at(425), at(439), MarkKind.CHANGE, "cable", "B"),
        Mark(4, at(520), at(520), MarkKind.CHANGE, "baud", "19200", origin=Origin.PROGRAM),
        Mark(5, at(611), at(640), MarkKind.CHANGE, "choke", "fitted"),
        Mark(6, at(700), at(700), MarkKind.PLAIN),
    )


class FakeFeed:
    """A session feed with a clock that tests turn by hand, or that runs with each look."""

    folder = "/tmp/2026-05-02T1903Z-larkfell-hut"
    is_replay = False

    def __init__(
        self, *, excess_db: float = 6.2, at_s: float = 60.0, tick_s: float = 0.2, setup=None
    ) -> None:
        self.facts = facts(setup=SETUP if setup is None else setup)
        self.excess_db = excess_db
        self.now_ns = int(at_s * NS)
        self.tick_ns = int(tick_s * NS)
        self.phase = Phase.RECORDING
        self.marks: list[Mark] = []
        self.made: list[int] = []
        self.withdrawn: list[Mark] = []
        self.locked = False
        self.asked: list[tuple[Verb, str]] = []
        self.health = InputHealth(-23.4, -8.1)
        self.polling = PollingState(True, True, 0.2, 9600, "8N1", reply_ms=18.0)
        self.reading: Reading | None = None
        self.notices: list[str] = []
        self.looks = 0
        self.fault: Exception | None = None
        self.write_fault: Exception | None = None
        self.closed = False
        self.trial: TrialReading | None = None
        self.measurement: Measurement | None = None
        self.measured = 0
        self.measuring_waits: threading.Event | None = None  # measuring goes on when it is set

    def measure(self, progress: Callable[[float], bool]) -> Measurement:
        self.measured += 1
        for share in (0.1, 0.42):
            if not progress(share):
                raise CancelledError("given up")
        while self.measuring_waits is not None and not self.measuring_waits.wait(0.01):
            if not progress(0.42):
                raise CancelledError("given up")
        if self.fault is not None:
            raise self.fault
        return self.measurement or measurement()

    # ---- marks

    def open_change(self, factor: str) -> int:
        return self._add(MarkKind.CHANGE, factor)

    def settle_change(self, number: int, value: str, note: str = "") -> None:
        self._restate(number, settled_ns=self.now_ns, value=value, note=note)

    def leave_plain(self, number: int) -> None:
        self._restate(number, kind=MarkKind.PLAIN, factor=None, settled_ns=self._mark(number).t_ns)

    def plain_mark(self) -> int:
        return self._add(MarkKind.PLAIN)

    def add_note(self, text: str) -> int:
        return self._add(MarkKind.NOTE, note=text)

    def undo(self) -> Mark | None:
        if not self.made:
            return None
        mark = self._mark(self.made.pop())
        self.marks.remove(mark)
        self.withdrawn.append(mark)
        return mark

    def redo(self) -> Mark | None:
        if not self.withdrawn:
            return None
        self.marks.append(self.withdrawn.pop())
        self.made.append(self.marks[-1].number)
        return self.marks[-1]

    def lock_latency(self, *, locked: bool) -> None:
        self.locked = locked

    def ask(self, verb: Verb, value: str = "") -> None:
        self._may_write()
        self.asked.append((verb, value))
        self.notices.append(f"done: {verb} {value}".rstrip())
        if verb in (Verb.STOP_POLLING, Verb.START_POLLING):
            self.polling = replace(self.polling, on=verb is Verb.START_POLLING)

    def close(self) -> None:
        self.closed = True

    def _may_write(self) -> None:
        if self.write_fault is not None:
            raise self.write_fault

    def _add(self, kind: MarkKind, factor: str | None = None, note: str = "") -> int:
        self._may_write()
        number = 1 + max((m.number for m in self.marks), default=0)
        settled = None if kind is MarkKind.CHANGE else self.now_ns
        self.marks.append(Mark(number, self.now_ns, settled, kind, factor, None, note, late=self.is_replay))
        self.made.append(number)
        return number

    def _mark(self, number: int) -> Mark:
        return next(mark for mark in self.marks if mark.number == number)

    def _restate(self, number: int, **changes) -> None:
        self._may_write()
        self.marks = [replace(m, **changes) if m.number == number else m for m in self.marks]

    # ---- pictures

    def look(self, view: View) -> Snapshot:
        self.looks += 1
        if self.fault is not None:
            raise self.fault
        self._move()
        polls = self.now_ns // int(POLL_S * NS)
        reading = self.reading or (tied(self.excess_db) if self.excess_db > 0 else untied())
        setup = setup_at(self.now_ns, self.facts.setup, self.marks)
        marks = tuple(sorted(self.marks, key=lambda m: m.t_ns))
        return Snapshot(
            phase=self.phase,
            now_ns=self.now_ns,
            duration_ns=HOUR_NS if self.is_replay else self.now_ns,
            speed=getattr(self, "speed", 1.0),
            window=reading,
            step=replace(reading, polls=31),
            step_seconds=32.0,
            step_start_ns=self.now_ns,
            latency=Latency(Estimate(0.083, 0.0828, 0.0832), locked=self.locked),
            spectrum=spectrum(self.excess_db, seed=self.now_ns // (2 * NS)),
            strip=strip(view, self.now_ns, self.excess_db, marks),
            polling=replace(self.polling, polls=polls, replies=polls - 3),
            health=self.health,
            setup=setup,
            marks=marks,
            open_mark=next((m for m in reversed(marks) if m.hands_on), None),
            notices=tuple(self.notices),
            trial=self.trial,
        )

    def _move(self) -> None:
        self.now_ns += self.tick_ns


class FakeReplay(FakeFeed):
    """A saved hour."""

    is_replay = True

    def __init__(self, **given) -> None:
        super().__init__(**({"at_s": 430.0} | given))
        self.phase = Phase.PLAYING
        self.speed = 1.0
        self.marks = list(scripted_marks())
        self.sought: list[int] = []

    def toggle(self) -> None:
        self.phase = Phase.PAUSED if self.phase is Phase.PLAYING else Phase.PLAYING

    def set_speed(self, speed: float) -> None:
        self.speed = speed

    def seek(self, t_ns: int) -> None:
        self.sought.append(t_ns)
        self.now_ns = t_ns

    def seek_mark(self, direction: int) -> None:
        times = [m.t_ns for m in self.marks]
        there = [t for t in times if (t > self.now_ns if direction > 0 else t < self.now_ns - NS)]
        if there:
            self.seek(min(there) if direction > 0 else max(there))

    def _move(self) -> None:
        if self.phase is Phase.PLAYING:
            self.now_ns += int(self.tick_ns * self.speed)
