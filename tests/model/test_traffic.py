"""Bursts become polls, polls become the gate."""

from __future__ import annotations

import numpy as np
import pytest

from telltick.model.clock import NS, Anchor, AudioClock
from telltick.model.traffic import Burst, Direction, gate_from_bursts

RATE = 8_000
CLOCK = AudioClock(RATE, [Anchor(0, 0, 0, 0)], end_sample=10 * RATE)


def burst(start_s: float, length_s: float, direction: Direction, poll: int | None = None) -> Burst:
    return Burst(round(start_s * NS), round((start_s + length_s) * NS), direction, b"ab", poll)


def test_uncounted_bursts_group_into_requests_with_their_replies():
    bursts = [
        burst(1.00, 0.01, Direction.TX),
        burst(1.02, 0.02, Direction.RX),
        burst(1.05, 0.02, Direction.RX),
        burst(2.00, 0.01, Direction.TX),
        burst(4.00, 0.02, Direction.RX),
    ]
    gate = gate_from_bursts(bursts, CLOCK)
    assert gate.poll.tolist() == [0, 0, 0, 1, 2]
    assert gate.poll_start_s == pytest.approx([1.0, 2.0, 4.0])
    assert gate.poll_end_s == pytest.approx([1.07, 2.01, 4.02])
    assert gate.on_s == pytest.approx([0.05, 0.01, 0.02])


def test_counted_bursts_keep_to_their_poll_however_late_the_reply():
    bursts = [
        burst(1.0, 0.01, Direction.TX, 7),
        burst(2.5, 0.02, Direction.RX, 7),
        burst(3, 0.01, Direction.TX, 8),
    ]
    assert gate_from_bursts(bursts, CLOCK).poll.tolist() == [0, 0, 1]


def test_bursts_without_audio_are_left_out():
    gate = gate_from_bursts([burst(9, 0.01, Direction.TX), burst(11, 0.01, Direction.TX)], CLOCK)
    assert gate.polls == 1
    assert gate.data == (b"ab",)


def test_a_gate_moves_with_the_latency_and_can_be_cut_to_whole_polls():
    bursts = [burst(t, 0.05, Direction.TX, k) for k, t in enumerate((1.0, 2.0, 3.0))]
    gate = gate_from_bursts(bursts, CLOCK).shifted(0.1)
    assert gate.poll_start_s == pytest.approx([1.1, 2.1, 3.1])
    cut = gate.between(1.5, 3.12)
    assert cut.poll_start_s == pytest.approx([2.1])
    assert cut.poll.tolist() == [0]


def test_no_bursts_make_an_empty_gate():
    gate = gate_from_bursts([], CLOCK)
    assert gate.polls == 0
    assert gate.between(0, 1).polls == 0
    assert np.array_equal(gate.on_s, [])
