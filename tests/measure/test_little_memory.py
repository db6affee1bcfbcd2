"""What a live view does every few seconds takes little memory, also for a moment: a watch lasts all night."""

import tracemalloc
from collections.abc import Callable

import numpy as np

from telltick.measure.banded import sums_of
from telltick.measure.characters import burst_length_s, burst_spectra, character_rate
from telltick.measure.evidence import running_scale
from telltick.measure.pollwise import poll_by_poll
from telltick.measure.rows import measure_rows
from telltick.measure.tones import tonal_bins
from telltick.model.readings import Band
from tests.scenes import make_scene

MB = 1e6


def most_taken(work: Callable[[], object]) -> int:
    """Bytes that work takes at most at any moment, beyond what was there before."""
    tracemalloc.start()
    try:
        work()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def test_listening_for_the_character_rate():
    scene = make_scene(1, excess_db=6.0, seconds=12.0, rate_hz=48_000, same=False)
    gate = scene.gate.shifted(scene.latency_s)

    def listen() -> None:
        spectra = burst_spectra(scene.samples, 0, 48_000, gate, length_s=burst_length_s(gate))
        assert spectra.bursts >= 40
        character_rate(spectra)

    listen()  # what it imports stays
    assert most_taken(listen) < 4 * MB


def test_the_floors_of_a_step_of_ten_minutes():
    scene = make_scene(1, excess_db=6.0, seconds=600.0, rate_hz=8000)
    rows, _ = sums_of(measure_rows(scene.samples, 0, 8000, scene.gate.shifted(scene.latency_s)))
    assert rows.polls > 2900
    assert most_taken(lambda: poll_by_poll(rows, np.ones(1, dtype=bool))) < 3 * MB


def test_no_tones_are_looked_for_where_the_bins_were_added_up():
    scene = make_scene(1, excess_db=6.0, seconds=60.0, rate_hz=8000)
    rows, _ = sums_of(measure_rows(scene.samples, 0, 8000, scene.gate.shifted(scene.latency_s)))
    assert not tonal_bins(rows, Band()).any()
    assert most_taken(lambda: tonal_bins(rows, Band())) < rows.slots.nbytes


def test_the_scale_of_the_evidence_takes_less_than_sixty_five_bytes_a_poll():
    d = np.random.default_rng(1).normal(size=50_000)
    assert most_taken(lambda: running_scale(d)) < 65 * len(d)
