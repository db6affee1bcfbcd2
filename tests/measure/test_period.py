import numpy as np
import pytest

from telltick.measure.period import find_period
from tests.scenes import make_scene

RATE_HZ = 8000


def heard(seed, seconds=60.0, **scene):
    """A scene of strictly periodic polls, and the period found in it."""
    made = make_scene(seed, seconds=seconds, rate_hz=RATE_HZ, poll_jitter_s=0.0, **scene)
    return made, find_period(made.samples, 0, RATE_HZ)


@pytest.mark.parametrize(
    ("rate", "i_over_n_db", "baud"), [(5.0, -10.0, 9600), (15.0, -10.0, 38400), (1.0, -3.0, 9600)]
)
def test_the_period_of_weak_polls_is_found_in_a_minute_without_any_serial_data(rate, i_over_n_db, baud):
    excess_db = 10 * np.log10(1 + 10 ** (i_over_n_db / 10))
    _, period = heard(1, rate=rate, excess_db=excess_db, baud=baud, jitter_s=0.001)
    assert period.seconds.value == pytest.approx(1 / rate, rel=3e-4)
    assert period.seconds.low < 1 / rate < period.seconds.high
    assert period.p_value < 0.001


@pytest.mark.parametrize("background", ["hum", "static", "speech", "fading"])
def test_the_period_is_found_behind_other_noises(background):
    _, period = heard(2, rate=5.0, excess_db=3.0, background=background)
    assert period.seconds.value == pytest.approx(0.2, rel=2e-3)


@pytest.mark.parametrize("background", ["hum", "fading", "speech+static"])
def test_audio_without_a_rhythm_has_no_period(background):
    found = [heard(seed, excess_db=None, background=background)[1] for seed in range(2)]
    assert found == [None] * 2


def test_the_phase_tells_when_the_beats_are_loudest():
    scene, period = heard(3, rate=1.0, excess_db=6.0)
    middle_s = float(scene.gate.poll_start_s[0] + scene.gate.poll_end_s[0]) / 2 + scene.latency_s
    assert period.phase_s == pytest.approx(middle_s % 1.0, abs=0.015)


def test_seconds_are_too_few():
    assert heard(1, seconds=9.0, excess_db=10.0)[1] is None
