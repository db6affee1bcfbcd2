"""Rows in little memory: the same reading, a fraction of the bytes."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from telltick.measure.banded import sums_of
from telltick.measure.outlook import more_seconds
from telltick.measure.reading import spectrum_of, take_reading
from telltick.measure.rows import PollRows, measure_rows
from telltick.model.readings import Estimate, Latency, Reading
from tests.scenes import make_scene

LATENCY = Latency(Estimate(0.05, 0.05, 0.05), score=30.0)


@pytest.fixture(scope="module", params=["clean", "hum"])
def rows(request):
    scene = make_scene(3, excess_db=4.0, seconds=40, rate_hz=8000, background=request.param)
    return measure_rows(scene.samples, 0, 8000, scene.gate.shifted(scene.latency_s))


def size(rows: PollRows) -> int:
    values = (getattr(rows, field.name) for field in dataclasses.fields(rows))
    return sum(value.nbytes for value in values if isinstance(value, np.ndarray))


def test_rows_of_the_band_read_as_rows_of_bins(rows):
    banded, _ = sums_of(rows)
    fine, coarse = take_reading(rows, latency=LATENCY), take_reading(banded, latency=LATENCY)
    assert coarse.excess_db.value == pytest.approx(fine.excess_db.value, abs=1e-4)
    assert coarse.noise_dbfs == pytest.approx(fine.noise_dbfs, abs=1e-4)
    assert coarse.interference_dbfs == pytest.approx(fine.interference_dbfs, abs=1e-4)
    assert coarse.verdict is fine.verdict
    assert coarse.warnings == fine.warnings
    assert size(banded) < size(rows) / 8


def test_the_spectrum_is_made_of_its_parts(rows):
    half = len(rows.poll) // 2
    parts = [sums_of(rows.pick(part))[1] for part in (slice(0, half), slice(half, None))]
    together, whole = parts[0].plus(parts[1]).spectrum(), spectrum_of(rows)
    np.testing.assert_allclose(together.quiet_dbfs, whole.quiet_dbfs, atol=1e-4)
    np.testing.assert_allclose(together.active_dbfs, whole.active_dbfs, atol=1e-4)


def test_rows_of_bins_and_of_a_band_do_not_mix(rows):
    with pytest.raises(ValueError, match="cannot be joined"):
        PollRows.join([rows, sums_of(rows)[0]])


@pytest.mark.parametrize(("half_db", "more_s"), [(0.4, 0.0), (0.5, 0.0), (1.0, 30.0), (2.0, 150.0)])
def test_a_half_width_falls_as_one_over_the_root_of_time(half_db, more_s):
    reading = Reading(50, 10.0, excess_db=Estimate(3.0, 3.0 - half_db, 3.0 + half_db))
    assert more_seconds(reading) == pytest.approx(more_s)


def test_without_an_interval_nobody_can_tell_how_much_longer():
    assert more_seconds(Reading(3, 1.0)) is None
