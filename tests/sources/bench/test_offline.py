"""Whole sessions of the bench; two facts of the trade come out of it by themselves.

Both facts (the pitch follows the character rate, the repetition the polling interval; the noise stops with
the polling) are common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telltick.model.clock import NS
from telltick.model.errors import BadInputError
from telltick.model.traffic import Direction, PollOutcome
from telltick.sources.bench.offline import RenderedSession, render_session_audio
from telltick.sources.bench.parts import bench_plan
from telltick.sources.bench.script import Change

RATE_HZ = 12_000
CANDIDATES_HZ = (120, 240, 480, 960, 1920, 3840)  # character rates of the standard rates, 10 bits a character


def strong(baud: int, **how) -> RenderedSession:
    plan = replace(bench_plan("bench"), baud=baud, jitter_ms=0.0)
    return render_session_audio(1, 20, plan, rate_hz=RATE_HZ, i_over_n_db=25, **how)


def pitch_hz(session: RenderedSession) -> float:
    """The character rate whose harmonics stand out most from the spectrum between them, during replies."""
    size, power = 4096, np.zeros(2049)
    for burst in session.bursts:
        if burst.direction is Direction.RX:
            low, high = (
                round((t / NS + session.latency_s) * RATE_HZ) for t in (burst.start_ns, burst.end_ns)
            )
            piece = session.audio[low:high] * np.hanning(high - low)
            power += np.abs(np.fft.rfft(piece, size)) ** 2
    hz = np.fft.rfftfreq(size, 1 / RATE_HZ)

    def stands_out(rate: float) -> float:
        harmonics = np.arange(rate, 2650, rate)
        between = np.concatenate([harmonics - rate / 2, harmonics + rate / 2])
        heard = [at[(at > 350) & (at < 2650)] for at in (harmonics, between)]
        if not all(map(len, heard)):
            return 0.0
        return float(np.interp(heard[0], hz, power).mean() / np.interp(heard[1], hz, power).mean())

    return max(CANDIDATES_HZ, key=stands_out)


def repetition_hz(session: RenderedSession) -> float:
    """The strongest line of the envelope's spectrum."""
    cells = np.add.reduceat(session.audio.astype(float) ** 2, np.arange(0, len(session.audio), 60))
    spectrum = np.abs(np.fft.rfft(cells - cells.mean()))
    return float(np.fft.rfftfreq(len(cells), 60 / RATE_HZ)[spectrum.argmax()])


def test_raising_the_rate_fourfold_raises_the_pitch_fourfold_and_leaves_the_repetition_alone():
    slow, fast = strong(4800), strong(19200)
    assert (pitch_hz(slow), pitch_hz(fast)) == (480, 1920)
    assert repetition_hz(slow) == pytest.approx(5.0, abs=0.06)
    assert repetition_hz(fast) == pytest.approx(5.0, abs=0.06)


def test_polling_faster_changes_the_repetition_and_leaves_the_pitch_alone():
    often = strong(4800, changes=[Change(0.0, "poll interval", "0.125 s")])
    assert repetition_hz(often) == pytest.approx(8.0, abs=0.06)
    assert pitch_hz(often) == 480


def test_stopping_the_polling_stops_the_noise_at_once():
    session = strong(9600, changes=[Change(10.0, "polling", "off")])
    last_s = max(burst.end_ns for burst in session.bursts) / NS
    assert last_s < 10.1
    silent = session.audio[round((last_s + session.latency_s + 0.02) * RATE_HZ) :].astype(float) / 32767
    assert session.truth[1].interference_dbfs == -np.inf
    peaks = np.abs(silent - silent.mean()).max()
    before = np.abs(session.audio[: 9 * RATE_HZ] / 32767).max()
    assert peaks < 0.2 * before


def test_the_truth_is_what_was_asked_for():
    session = render_session_audio(2, 30, rate_hz=RATE_HZ, i_over_n_db=5.5)
    assert session.truth[0].i_over_n_db == pytest.approx(5.5, abs=0.3)
    assert session.truth[0].noise_dbfs == pytest.approx(-40.0, abs=0.1)


def test_a_dummy_load_uncovers_interference_that_comes_by_cable():
    session = render_session_audio(3, 20, changes=[Change(10, "antenna", "dummy load")], rate_hz=RATE_HZ)
    with_antenna, with_load = session.truth
    assert with_load.interference_dbfs == pytest.approx(with_antenna.interference_dbfs, abs=0.3)
    assert with_load.noise_dbfs == pytest.approx(with_antenna.noise_dbfs - 10, abs=0.2)
    assert with_load.excess_db > with_antenna.excess_db + 8


def test_an_unplugged_cable_silences_the_radio_and_the_interference():
    session = render_session_audio(3, 20, changes=[Change(10, "cable", "unplugged")], rate_hz=RATE_HZ)
    outcomes = [poll.outcome for poll in session.polls if poll.due_ns > 10 * NS]
    assert set(outcomes) == {PollOutcome.TIMEOUT}
    assert session.truth[1].excess_db < 1e-6


def test_audio_without_interference_bears_the_levels_of_the_truth():
    session = render_session_audio(4, 20, path="none", rate_hz=RATE_HZ)
    x = session.audio / 32767
    spectrum = np.abs(np.fft.rfft(x)) ** 2 / len(x) ** 2 * 2
    hz = np.fft.rfftfreq(len(x), 1 / RATE_HZ)
    in_band = spectrum[(hz > 200) & (hz < 2900) & (abs(hz % 50) > 1) & (abs(hz % 50) < 49)]
    level_dbfs = 10 * np.log10(2 * in_band.sum() * 50 / 48)
    assert level_dbfs == pytest.approx(session.truth[0].noise_dbfs, abs=0.15)
    assert session.truth[0].interference_dbfs == -np.inf


def test_the_traffic_is_that_of_the_poll_plan():
    session = render_session_audio(5, 30, rate_hz=RATE_HZ)
    assert len(session.polls) in (149, 150)
    assert {poll.outcome for poll in session.polls} == {PollOutcome.REPLY}
    assert [poll.number for poll in session.polls] == list(range(len(session.polls)))
    assert [burst.poll for burst in session.bursts[:4]] == [0, 0, 1, 1]
    gaps_s = np.diff([poll.sent_ns for poll in session.polls]) / NS
    assert gaps_s.mean() == pytest.approx(0.2, abs=0.001)
    assert 0.18 <= gaps_s.min() < 0.19 < 0.21 < gaps_s.max() <= 0.22


def test_a_seed_gives_the_same_session_again():
    first, again = (render_session_audio(6, 5, rate_hz=RATE_HZ) for _ in range(2))
    assert (first.audio == again.audio).all()
    assert first.bursts == again.bursts


def test_a_way_in_that_the_bench_does_not_have_is_told_with_those_it_has():
    with pytest.raises(BadInputError, match="no path 'roof': choose one of none, cable"):
        render_session_audio(1, 1, path="roof", rate_hz=RATE_HZ)
