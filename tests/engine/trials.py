"""Sessions with a coin trial on disk: steady polls first, then one poll a cycle in the slot drawn for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from telltick.model.clock import NS, Anchor
from telltick.model.marks import MarkKind, Origin
from telltick.model.session import Ending
from telltick.model.traffic import Burst, Direction, Gate, Poll, PollOutcome
from telltick.model.trial import TrialSlot, drawn_slot
from telltick.store.journal import Journal
from tests.engine.sessions import STARTED, bench_facts, write_audio
from tests.scenes import make_scene

RATE, SLOTS, SLOT_S, SEED = 12_000, 5, 0.04, 1
REQUEST_S, TURN_S, REPLY_S = 5 / 960, 0.003, 23 / 960
LATENCY_S = 0.04


def write_trial(
    folder: Path,
    ratio_db: float | None,
    *,
    seed: int = 1,
    before_s: float = 20.0,
    trial_s: float = 30.0,
    gap: tuple[float, float] | None = None,
    foreign_s: Sequence[float] = (),
    background: str = "clean",
) -> Path:
    """A session with a coin trial.

    Args:
        folder: where.
        ratio_db: I/N in dB; None has no interference.
        seed: of the scene.
        before_s: length of steady polling.
        trial_s: length of the trial.
        gap: session seconds from and to which audio is lost.
        foreign_s: session seconds at which the radio says something unasked.
        background: as `make_scene`.
    """
    from_s, to_s = gap or (before_s + trial_s + 9, before_s + trial_s + 9)
    sent = [0.5 + 0.2 * k + 0.002 * (k % 7) for k in range(int((before_s - 1) / 0.2))]
    drawn = _draws(len(sent), before_s, trial_s)
    sent += [(one.cycle_ns + one.slot * one.slot_ns) / NS for one in drawn]
    at = np.array([t for t in sent if not from_s - 0.2 < t < to_s])
    total_s = before_s + trial_s + 2
    scene = make_scene(
        seed,
        excess_db=None if ratio_db is None else 10 * np.log10(1 + 10 ** (ratio_db / 10)),
        seconds=total_s - (to_s - from_s),
        rate_hz=RATE,
        gate=_gate(np.where(at >= to_s, at - (to_s - from_s), at)),
        latency_s=LATENCY_S,
        background=background,
    )
    folder.mkdir(mode=0o700)
    with Journal.create(folder, replace(bench_facts(RATE), seed=SEED)) as journal:
        write_audio(folder, [scene.samples], RATE)
        with journal.batch():
            journal.add_anchor(Anchor(0, 0, 0, STARTED))
            if gap:
                journal.add_anchor(Anchor(1, round(from_s * RATE), round(to_s * NS), STARTED))
            _add_polls(journal, sent)
            for one in drawn:
                journal.add_trial_slot(one)
            journal.add_bursts(_burst(t, 0.002, Direction.RX, None) for t in foreign_s)
            for t_s, value in ((before_s + 0.01, "on"), (before_s + trial_s, "off")):
                _mark(journal, t_s, value)
            journal.end(Ending(round(total_s * NS), "time is up"))
    return folder


def _draws(first_poll: int, begin_s: float, seconds: float) -> list[TrialSlot]:
    origin, slot_ns = round(begin_s * NS), round(SLOT_S * NS)
    cycles = range(int(seconds / (SLOTS * SLOT_S)))
    return [
        TrialSlot(
            first_poll + c, 0, c, origin + c * SLOTS * slot_ns, drawn_slot(SEED, 0, c, SLOTS), SLOTS, slot_ns
        )
        for c in cycles
    ]


def _gate(sent_s: np.ndarray) -> Gate:
    start = np.stack([sent_s, sent_s + REQUEST_S + TURN_S], axis=1)
    end = start + np.array([REQUEST_S, REPLY_S])
    count = len(sent_s)
    data = (b"RF00;", b"RF0000142000000;;;;;;;;"[:23]) * count
    return Gate(
        start.ravel(), end.ravel(), np.tile([False, True], count), np.repeat(np.arange(count), 2), data
    )


def _add_polls(journal: Journal, sent_s: Sequence[float]) -> None:
    for number, t_s in enumerate(sent_s):
        t_ns = round(t_s * NS)
        journal.add_poll(Poll(number, t_ns, t_ns, PollOutcome.REPLY, round(TURN_S * NS)))
        journal.add_bursts(
            [
                _burst(t_s, REQUEST_S, Direction.TX, number),
                _burst(t_s + REQUEST_S + TURN_S, REPLY_S, Direction.RX, number),
            ]
        )


def _burst(t_s: float, length_s: float, direction: Direction, poll: int | None) -> Burst:
    return Burst(round(t_s * NS), round((t_s + length_s) * NS), direction, b"RF;", poll)


def _mark(journal: Journal, t_s: float, value: str) -> None:
    t_ns = round(t_s * NS)
    journal.add_mark(
        t_ns=t_ns,
        settled_ns=t_ns,
        kind=MarkKind.CHANGE,
        factor="coin trial",
        value=value,
        origin=Origin.PROGRAM,
    )
