import numpy as np
import pytest

from telltick.measure.rows import measure_rows
from telltick.measure.tones import tonal_bins
from telltick.model.readings import Band
from tests.scenes import make_scene

CLOSE = {"rate": 20, "reply": 8, "poll_jitter_s": 0.003}  # one to three quiet frames between polls
BUSY = {"reply": 149, "poll_jitter_s": 0.003}  # bytes flow four fifths of the time


def rows_of(seed, **options):
    scene = make_scene(seed, jitter_s=0.002, **options)
    return measure_rows(scene.samples, 0, scene.rate_hz, scene.gate.shifted(scene.latency_s))


@pytest.mark.parametrize("polls", [{}, CLOSE, BUSY])
def test_noise_is_never_taken_for_tones_however_little_quiet_lies_between_polls(polls):
    seeds = (1001, 1002, 1008)
    rows = [rows_of(seed, excess_db=6.0, seconds=60, noise_dbfs=-55.0, **polls) for seed in seeds]
    assert [tonal_bins(some, Band()).sum() for some in rows] == [0, 0, 0]


@pytest.mark.parametrize("polls", [{}, CLOSE, BUSY])
def test_whistles_as_strong_as_the_noise_are_found_between_close_polls_too(polls):
    rows = rows_of(1, excess_db=6.0, seconds=40, background="hum", **polls)
    quiet = rows.quiet.sum(axis=0) / rows.quiet_frames.sum()
    band = (rows.freq_hz > 700) & (rows.freq_hz < 2650)  # clear of hum and of the filter's edge
    whistles = np.flatnonzero(band & (quiet > 4 * np.median(quiet[band])))
    assert len(whistles) >= 3
    assert tonal_bins(rows, Band())[whistles].all()
