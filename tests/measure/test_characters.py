"""The character rate heard in the audio, and the spectrum it is told by."""

from dataclasses import replace

import numpy as np
import pytest

from telltick.measure.characters import burst_length_s, burst_spectra, character_rate
from telltick.measure.period import find_period
from telltick.model.clock import NS
from telltick.model.framing import Framing
from telltick.model.traffic import Direction, Gate
from telltick.sources.bench.offline import render_session_audio
from telltick.sources.bench.parts import bench_plan
from tests.scenes import make_scene

RATE_HZ = 8000
REPLY = {1200: 8, 2400: 12, 4800: 18, 9600: 28, 19200: 50}


def spectra_of(seed, baud, *, stop_bits=1, known=True, **scene):
    """Spectra of the bursts of a scene with half a minute of polls."""
    framing = Framing(stop_bits=stop_bits)
    how = {"excess_db": 6.0, "seconds": 30.0, "same": False, "rate": 4.0, "random_phase": False} | scene
    made = make_scene(
        seed,
        rate_hz=RATE_HZ,
        baud=baud,
        framing=framing,
        request=4,
        reply=REPLY[baud],
        jitter_s=0.0005,
        **how,
    )
    gate = made.gate.shifted(made.latency_s)
    if not known:
        gate = replace(gate, data=())
    return burst_spectra(made.samples, 0, RATE_HZ, gate, length_s=burst_length_s(gate))


@pytest.mark.parametrize("baud", list(REPLY))
@pytest.mark.parametrize("shift_hz", [0.0, 7350.0])
def test_the_rate_is_told_where_the_bytes_are_known_shifted_or_not(baud, shift_hz):
    found = character_rate(spectra_of(1, baud, shift_hz=shift_hz, random_phase=bool(shift_hz), same=True))
    assert found.baud == baud
    assert found.framing in (None, Framing())
    if not shift_hz:
        assert found.shift_hz == 0.0


@pytest.mark.parametrize("baud", [4800, 9600])
def test_one_stop_bit_is_told_from_two(baud):
    for stop_bits in (1, 2):
        assert character_rate(spectra_of(2, baud, stop_bits=stop_bits)).framing == Framing(
            stop_bits=stop_bits
        )


@pytest.mark.parametrize("baud", [1200, 2400, 4800])
def test_slow_rates_are_told_without_the_bytes(baud):
    assert character_rate(spectra_of(3, baud, known=False, excess_db=10.0)).baud == baud


def test_frames_that_repeat_with_unknown_bytes_are_not_told_wrong():
    for seed in range(4):
        found = character_rate(spectra_of(seed, 19200, known=False, same=True, seconds=20.0))
        assert found is None or found.baud == 19200


@pytest.mark.parametrize("background", ["clean", "speech", "static"])
def test_without_interference_nothing_is_told(background):
    assert character_rate(spectra_of(4, 9600, excess_db=None, background=background)) is None


def test_hiss_that_comes_with_the_bursts_speaks_of_no_rate():
    made = make_scene(5, excess_db=None, seconds=30.0, rate_hz=RATE_HZ)
    gate = made.gate.shifted(made.latency_s)
    loud = np.zeros(len(made.samples))
    for start_s, end_s in zip(gate.start_s, gate.end_s, strict=True):
        loud[int(start_s * RATE_HZ) : int(end_s * RATE_HZ)] = 1
    samples = np.rint(made.samples * (1 + 2 * loud)).astype(np.int16)
    assert character_rate(burst_spectra(samples, 0, RATE_HZ, gate, length_s=burst_length_s(gate))) is None


def test_pieces_of_audio_add_up_to_the_whole():
    made = make_scene(6, seconds=20.0, rate_hz=RATE_HZ)
    gate = made.gate.shifted(made.latency_s)
    length_s = burst_length_s(gate)
    cut = round((gate.poll_end_s[40] + 0.08) * RATE_HZ)
    whole = burst_spectra(made.samples, 0, RATE_HZ, gate, length_s=length_s)
    first = burst_spectra(made.samples[:cut], 0, RATE_HZ, gate, length_s=length_s)
    rest = burst_spectra(made.samples[cut:], cut, RATE_HZ, gate, length_s=length_s)
    both = first.plus(rest)
    assert both.bursts == whole.bursts
    assert both.active == pytest.approx(whole.active)
    assert both.quiet == pytest.approx(whole.quiet)


def of_bench(baud):
    """A session of the simulated bench: spectra of its bursts and the period of its audio."""
    plan = replace(bench_plan("bench"), baud=baud, jitter_ms=0.0)
    session = render_session_audio(1, 30, plan, rate_hz=RATE_HZ, i_over_n_db=15)
    start_s, end_s = (
        np.array([b.start_ns for b in session.bursts]),
        np.array([b.end_ns for b in session.bursts]),
    )
    polls = np.unique([b.poll for b in session.bursts], return_inverse=True)[1]
    gate = Gate(
        start_s / NS + session.latency_s,
        end_s / NS + session.latency_s,
        np.array([b.direction is Direction.RX for b in session.bursts]),
        polls,
        tuple(b.data for b in session.bursts),
    )
    found = character_rate(burst_spectra(session.audio, 0, RATE_HZ, gate, length_s=burst_length_s(gate)))
    return found, find_period(session.audio, 0, RATE_HZ)


def test_on_the_bench_four_times_the_rate_moves_the_comb_fourfold_and_leaves_the_repetition():
    # Common practice, no source: the pitch follows the character rate, the rhythm the polling interval.
    (slow, slow_rhythm), (fast, fast_rhythm) = of_bench(4800), of_bench(19200)
    assert (slow.baud, fast.baud) == (4800, 19200)
    assert slow_rhythm.seconds.value == pytest.approx(0.2, rel=1e-3)
    assert fast_rhythm.seconds.value == pytest.approx(0.2, rel=1e-3)
