"""The simulated receiver, without threads."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import signal

from telltick.model.framing import Framing, line_edges
from telltick.sources.bench.paths import COUPLINGS, Coupling
from telltick.sources.bench.receiver import HUM_DBFS, NO_EDGES, Edges, Receiver
from telltick.sources.bench.state import BenchState

RATE_HZ = 48_000
PLAIN = BenchState()


def edges_of(data: bytes, baud: int = 9600, first_s: float = 0.05, rate_hz: int = RATE_HZ) -> Edges:
    at, step = line_edges(data, baud, Framing())
    return Edges((at + first_s) * rate_hz, step)


def in_blocks(receiver: Receiver, sizes: list[int], edges: Edges, state: BenchState = PLAIN):
    first, parts = 0, []
    for size in sizes:
        parts.append(receiver.render_parts(first, size, edges, state))
        first += size
    return parts


def joined(parts, what: str) -> np.ndarray:
    return np.concatenate([getattr(part, what) for part in parts])


def dbfs(x: np.ndarray) -> float:
    """Level relative to the r.m.s. value of a full-scale sine (AES17-2020, 0 dBFS)."""
    return 10 * np.log10(2 * np.mean(x**2))


def test_audio_does_not_depend_on_how_it_is_cut_into_blocks():
    edges = edges_of(b"Q1 0007 142 13791 325;")
    once = in_blocks(Receiver(3, RATE_HZ, Coupling()), [9600], edges)
    cut = in_blocks(Receiver(3, RATE_HZ, Coupling()), [960, 400, 3440, 4800], edges)
    for what in ("noise", "interference", "hum"):
        assert joined(cut, what) == pytest.approx(joined(once, what), abs=0.01 / 32768)


def test_the_passband_is_the_windowed_filter_of_a_reference_library():
    receiver = Receiver(0, RATE_HZ, None)
    ours = receiver._filter
    theirs = signal.firwin(len(ours), [300, 2700], window=("blackman"), pass_zero=False, fs=RATE_HZ)
    hz = np.linspace(50, 6000, 500)
    response = [np.abs(signal.freqz(taps, worN=hz, fs=RATE_HZ)[1]) for taps in (ours, theirs)]
    assert response[0] == pytest.approx(response[1], abs=5e-3)


@pytest.mark.parametrize(
    ("state", "level_dbfs"),
    [
        (PLAIN, -40.0),
        (BenchState(dummy_load=True), -50.0),
        (BenchState(rf_gain_db=-12.0), -52.0),
        (BenchState(rf_gain_db=-30.0), -67.0),
    ],
)
def test_the_noise_floor_stands_where_the_bench_says(state, level_dbfs):
    receiver = Receiver(1, RATE_HZ, None)
    noise = joined(in_blocks(receiver, [4800] * 200, NO_EDGES, state)[1:], "noise")
    assert dbfs(noise) == pytest.approx(receiver.noise_dbfs(state), abs=0.1)
    assert receiver.noise_dbfs(state) == pytest.approx(level_dbfs, abs=0.1)


def test_the_noise_is_flat_in_the_passband_and_gone_beyond():
    noise = joined(in_blocks(Receiver(1, RATE_HZ, None), [4800] * 200, NO_EDGES), "noise")
    hz, density = signal.welch(noise, RATE_HZ, nperseg=2048)  # SciPy's reference estimate
    inside = density[(hz > 450) & (hz < 2550)]
    assert 10 * np.log10(inside.max() / inside.min()) < 1.5
    assert 10 * np.log10(density[hz > 3200].max() / inside.mean()) < -60


def test_the_first_block_is_as_loud_as_any_other():
    parts = in_blocks(Receiver(1, RATE_HZ, None), [960] * 400, NO_EDGES)
    levels = [dbfs(part.noise) for part in parts]
    assert min(levels[:3]) > np.median(levels) - 3


def test_hum_is_a_comb_on_the_mains_frequency_at_its_levels():
    hum = joined(in_blocks(Receiver(0, RATE_HZ, None), [960] * 50, NO_EDGES), "hum")
    spectrum = np.abs(np.fft.rfft(hum)) / len(hum) * 2  # one second: bins of 1 Hz
    assert {int(hz) for hz in np.flatnonzero(spectrum > 1e-6)} == set(HUM_DBFS)
    for hz, level in HUM_DBFS.items():
        assert 20 * np.log10(spectrum[hz]) == pytest.approx(level, abs=0.01)


def test_an_edge_is_heard_at_its_time_to_a_fraction_of_a_sample():
    receiver = Receiver(0, RATE_HZ, Coupling())
    quarter, half = (
        receiver_part.interference
        for at in (1000.25, 1000.5)
        for receiver_part in in_blocks(
            Receiver(0, RATE_HZ, Coupling()), [4800], Edges(np.array([at]), np.ones(1))
        )
    )
    spectra = [np.fft.rfft(part)[50:250] for part in (quarter, half)]
    hz = np.fft.rfftfreq(4800, 1 / RATE_HZ)[50:250]
    turn = np.angle(spectra[1] / spectra[0])
    assert turn == pytest.approx(-2 * np.pi * hz * 0.25 / RATE_HZ, abs=1e-6)
    assert abs(np.argmax(np.abs(quarter)) - 1000 - receiver.delay) <= 5


def test_a_receiver_that_does_not_hear_the_line_stays_silent():
    parts = in_blocks(Receiver(0, RATE_HZ, COUPLINGS["none"]), [4800], edges_of(b"Q1;"))
    assert not joined(parts, "interference").any()


def level_of(path: str, state: BenchState) -> float:
    parts = in_blocks(Receiver(0, RATE_HZ, COUPLINGS[path]), [4800], edges_of(b"Q1;", first_s=0.02), state)
    power = float(np.sum(joined(parts, "interference") ** 2))
    return 10 * np.log10(power) if power > 1e-12 else -np.inf


@pytest.mark.parametrize(
    ("path", "change", "difference_db"),
    [
        ("cable", {"dummy_load": True}, 0.0),
        ("cable", {"better_cable": True}, -14.0),
        ("cable", {"choke": True}, -8.0),
        ("cable", {"rf_gain_db": -12.0}, -12.0),
        ("cable", {"monitor_level": 0.0}, 0.0),
        ("antenna", {"dummy_load": True}, -40.0),
        ("antenna", {"rf_gain_db": -12.0}, -12.0),
        ("behind gain", {"rf_gain_db": -30.0}, 0.0),
        ("behind gain", {"dummy_load": True}, 0.0),
        ("monitor", {"monitor_level": 10.0}, 6.02),
        ("monitor", {"monitor_level": 1.0}, -13.98),
        ("monitor", {"rf_gain_db": -30.0}, 0.0),
    ],
)
def test_each_way_in_reacts_to_its_own_factors_alone(path, change, difference_db):
    difference = level_of(path, replace(PLAIN, **change)) - level_of(path, PLAIN)
    assert difference == pytest.approx(difference_db, abs=0.01)


def test_the_monitor_at_zero_lets_nothing_through():
    assert level_of("monitor", BenchState(monitor_level=0.0)) < level_of("monitor", PLAIN) - 100
