import numpy as np
import pytest

from telltick.measure.cells import power_cells
from telltick.measure.latency import find_latency
from telltick.measure.portrait import portrait
from telltick.model.characteristics import Carrier
from telltick.model.readings import Estimate, Latency
from tests.scenes import band_noise, poll_gate

RATE_HZ = 8000
LATENCY_S = 0.0403


def parts_of(gate):
    """Start and end of what carries the interference, for each kind of carrier."""
    asked, answered = slice(None, None, 2), slice(1, None, 2)
    return {
        Carrier.REQUEST: (gate.start_s[asked], gate.end_s[asked]),
        Carrier.REPLY: (gate.start_s[answered], gate.end_s[answered]),
        Carrier.BYTES: (gate.start_s, gate.end_s),
        Carrier.TURNAROUND: (gate.end_s[asked], gate.start_s[answered]),
        Carrier.WHOLE: (gate.poll_start_s, gate.poll_end_s),
    }


def drawn(seed, carrier, excess_db, *, locked=False, **polls):
    """Portrait of polls of which one part adds noise, with 1 ms of timing jitter."""
    rng = np.random.default_rng(seed)
    gate = poll_gate(rng, 60.0, **polls)
    count = 60 * RATE_HZ
    sounding = np.zeros(count)
    for start, end in zip(*parts_of(gate.shifted(LATENCY_S))[carrier], strict=True):
        late = rng.normal(0, 0.001)
        sounding[int((start + late) * RATE_HZ) : int((end + late) * RATE_HZ)] = 1
    hiss = np.sqrt(10 ** (excess_db / 10) - 1) * sounding * band_noise(rng, count, RATE_HZ)
    samples = np.rint(200 * (band_noise(rng, count, RATE_HZ) + hiss)).astype(np.int16)
    cells = power_cells(samples, 0, RATE_HZ)
    latency = find_latency(cells.power, cells.first, gate)
    if locked:
        latency = Latency(Estimate(LATENCY_S, LATENCY_S, LATENCY_S))
    return portrait(cells.power, cells.first, gate, latency, locked=locked)


@pytest.mark.parametrize("carrier", list(parts_of(poll_gate(np.random.default_rng(0), 5.0))))
def test_the_part_of_the_poll_that_carries_the_interference_is_named(carrier):
    assert drawn(1, carrier, 3.0, baud=4800, turnaround_s=0.02).carrier is carrier


@pytest.mark.parametrize("carrier", [Carrier.REQUEST, Carrier.REPLY])
def test_request_and_reply_of_equal_length_are_not_told_apart_by_shape(carrier):
    alike = {"request": 14, "reply": 14, "turnaround_s": 0.01}
    assert drawn(2, carrier, 10.0, **alike).carrier is Carrier.UNKNOWN
    assert drawn(2, carrier, 10.0, locked=True, **alike).carrier is carrier


def test_a_turn_around_too_short_to_see_is_not_named():
    assert drawn(3, Carrier.TURNAROUND, 6.0, turnaround_s=0.003).carrier is Carrier.UNKNOWN


def test_the_curve_rises_while_the_reply_is_sent_and_its_band_covers_the_truth():
    found = drawn(4, Carrier.REPLY, 6.0, locked=True, baud=4800, turnaround_s=0.02)
    start_s, end_s = found.reply_s
    inside = (found.at_s > start_s + 0.005) & (found.at_s < end_s - 0.005)
    outside = (found.at_s < start_s - 0.005) | (found.at_s > end_s + 0.005)
    assert found.ratio[inside].mean() == pytest.approx(10**0.6, rel=0.05)
    assert found.ratio[outside].mean() == pytest.approx(1.0, abs=0.05)
    assert np.mean((found.low[outside] < 1) & (found.high[outside] > 1)) > 0.85
    assert found.polls > 250


def test_few_polls_have_no_portrait():
    gate = poll_gate(np.random.default_rng(0), 3.0)
    cells = power_cells(np.ones(3 * RATE_HZ, dtype=np.int16), 0, RATE_HZ)
    assert portrait(cells.power, cells.first, gate, Latency(Estimate(0.0, 0.0, 0.0))) is None
