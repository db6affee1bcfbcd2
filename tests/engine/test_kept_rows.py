"""Rows of a long step in little memory, however they came in."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from telltick.engine.kept_rows import FOLD_S, KeptRows
from telltick.measure.reading import take_reading
from telltick.measure.rows import PollRows, measure_rows
from telltick.model.readings import Estimate, Latency
from tests.scenes import make_scene

SECONDS, NEWEST_S = 420.0, 90.0
LATENCY = Latency(Estimate(0.05, 0.05, 0.05), score=30.0)


@pytest.fixture(scope="module")
def rows():
    """Seven minutes of a step with hum in it, bin by bin."""
    scene = make_scene(3, excess_db=4.0, seconds=SECONDS, rate_hz=8000, background="hum")
    return measure_rows(scene.samples, 0, 8000, scene.gate.shifted(scene.latency_s))


def forward(rows: PollRows) -> KeptRows:
    """They came as a live view measures them, and were added up on the way."""
    kept = KeptRows()
    for first in range(0, len(rows.poll), 50):
        kept.add(rows.pick(slice(first, first + 50)))
        kept.fold(0.0, 0.0, kept.end_s - NEWEST_S)
    return kept


def backward(rows: PollRows) -> KeptRows:
    """The newest came first, as when a long step is joined."""
    kept, first = KeptRows(), int(np.searchsorted(rows.start_s, SECONDS - 35))
    kept.add(rows.pick(slice(first, None)))
    while first:
        end, first = first, max(0, first - 170)
        kept.add_before(rows.pick(slice(first, end)))
        kept.fold(0.0, kept.start_s if first else 0.0, SECONDS - NEWEST_S)
    return kept


def size(parts: list[PollRows]) -> int:
    values = (getattr(rows, field.name) for rows in parts for field in dataclasses.fields(rows))
    return sum(value.nbytes for value in values if isinstance(value, np.ndarray))


@pytest.mark.parametrize("came", [forward, backward])
def test_a_long_step_in_little_memory_reads_as_bin_by_bin(rows, came):
    fine, coarse = (
        take_reading(rows, latency=LATENCY),
        take_reading(came(rows).all_of(0, 1e9), latency=LATENCY),
    )
    assert (coarse.polls, coarse.verdict) == (fine.polls, fine.verdict)
    assert coarse.seconds == pytest.approx(fine.seconds)
    # A tenth of the half width of the interval: tones are looked for in two minutes instead of in all.
    tenth = (fine.excess_db.high - fine.excess_db.low) / 20
    assert coarse.excess_db.value == pytest.approx(fine.excess_db.value, abs=tenth)
    assert coarse.noise_dbfs == pytest.approx(fine.noise_dbfs, abs=tenth)


@pytest.mark.parametrize("came", [forward, backward])
def test_only_the_newest_minutes_are_held_bin_by_bin(rows, came):
    kept = came(rows)
    assert kept.bins_from_s == pytest.approx(2 * FOLD_S, abs=1.0)
    newest, asked = kept.newest(SECONDS - 60, SECONDS), rows.between(SECONDS - 60, SECONDS)
    assert np.array_equal(newest.core, asked.core, equal_nan=True)
    bins = size([rows.between(kept.bins_from_s, SECONDS)])
    assert size(kept._parts) < bins + size([rows]) / 12


def test_a_short_step_is_held_as_it_was_measured(rows):
    kept = forward(rows.between(0.0, FOLD_S))
    assert np.array_equal(kept.all_of(0, 1e9).slots, rows.between(0.0, FOLD_S).slots)


def test_what_must_be_measured_again_goes_with_all_that_was_added_up_with_it(rows):
    kept = forward(rows)
    kept.forget_from(200.0)
    assert kept.end_s == pytest.approx(FOLD_S, abs=1.0)
    kept.forget_from(60.0)
    assert not kept


def test_what_came_before_is_forgotten_row_by_row(rows):
    kept = forward(rows)
    kept.forget_before(60.0)
    assert kept.start_s == rows.between(60.0, 1e9).start_s[0]
    assert kept.all_of(0, 1e9).polls == rows.between(60.0, 1e9).polls


def test_a_step_that_begins_anew_counts_its_pieces_from_there(rows):
    kept = forward(rows.between(0.0, FOLD_S))
    kept.fold(70.0, 0.0, 1e9)
    for first in range(int(np.searchsorted(rows.end_s, FOLD_S, side="right")), len(rows.poll), 50):
        kept.add(rows.pick(slice(first, first + 50)))
    kept.forget_before(70.0)
    kept.fold(70.0, 70.0, 1e9)
    assert kept.bins_from_s == pytest.approx(70.0 + 2 * FOLD_S, abs=1.0)
    assert kept.all_of(0, 1e9).polls == rows.between(70.0, 1e9).polls
