"""Cells of a recording in pieces are those of the whole, at every sample rate."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from telltick.engine.cell_store import PIECE_S, CellStore
from telltick.engine.spans import Span
from telltick.measure.cells import power_cells
from tests.scenes import make_scene


def store_of(samples, rate_hz):
    audio = SimpleNamespace(read=lambda first, count: samples[first : first + count])
    return CellStore(SimpleNamespace(facts=SimpleNamespace(rate_hz=rate_hz), audio=audio))


@pytest.mark.parametrize("rate_hz", [8000, 11_025, 12_000, 22_050, 44_100])
def test_pieces_join_to_the_cells_of_the_whole(rate_hz):
    scene = make_scene(7, seconds=50, rate_hz=rate_hz)
    whole = power_cells(scene.samples, 0, rate_hz)
    run = Span(0.0, len(scene.samples) / rate_hz)
    found = store_of(scene.samples, rate_hz).between(run, run)
    first = found.first - whole.first
    assert found.first == whole.first
    assert len(found.power) > 8 * PIECE_S * 1000
    assert np.array_equal(found.power, whole.power[first : first + len(found.power)])


def test_a_stretch_in_the_middle_of_a_run_that_began_late():
    scene = make_scene(8, seconds=30, rate_hz=8000)
    whole = power_cells(scene.samples, 0, 8000)
    found = store_of(scene.samples, 8000).between(Span(3.3, 29.0), Span(9.0, 21.0))
    assert (found.first, len(found.power)) == (9000, 12_000)
    assert np.array_equal(found.power, whole.power[9000 - whole.first : 21_000 - whole.first])
