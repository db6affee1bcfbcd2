"""The gate made in columns is the gate of `model.traffic`, burst for burst."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from telltick.model.clock import NS, Anchor, AudioClock
from telltick.model.traffic import Burst, Direction, gate_from_bursts
from telltick.store.bursts import BurstColumns

RATE = 48_000
CLOCK = AudioClock(RATE, [Anchor(0, 0, NS, 0), Anchor(1, 10 * RATE, 13 * NS, 0)], 20 * RATE)

burst = st.builds(
    lambda start, length, direction, poll: Burst(start, start + length, direction, b"x", poll),
    start=st.integers(0, 25 * NS),
    length=st.integers(0, NS // 2),
    direction=st.sampled_from(Direction),
    poll=st.none() | st.integers(0, 5),
)


def columns_of(bursts) -> BurstColumns:
    columns = BurstColumns()
    half = len(bursts) // 2
    for part in (bursts[:half], bursts[half:]):
        columns.extend([(0, b.start_ns, b.end_ns, str(b.direction), b.data, b.poll) for b in part])
    return columns


@given(st.lists(burst, max_size=30))
def test_the_gate_in_columns_equals_the_gate_burst_by_burst(bursts):
    slow = gate_from_bursts(bursts, CLOCK)
    fast = columns_of(bursts).gate(CLOCK)
    for name in ("start_s", "end_s", "rx", "poll"):
        np.testing.assert_array_equal(getattr(fast, name), getattr(slow, name))
    assert fast.data == slow.data
    assert fast.polls == slow.polls


@given(st.lists(burst, max_size=30), st.integers(0, 25 * NS), st.integers(0, 25 * NS))
def test_a_part_of_the_gate_is_the_gate_of_the_bursts_in_it(bursts, start_ns, end_ns):
    inside = [b for b in bursts if b.end_ns >= start_ns and b.start_ns < end_ns]
    slow, fast = gate_from_bursts(inside, CLOCK), columns_of(bursts).gate(CLOCK, start_ns, end_ns)
    np.testing.assert_array_equal(fast.start_s, slow.start_s)
    np.testing.assert_array_equal(fast.poll, slow.poll)
    bare = columns_of(bursts).gate(CLOCK, start_ns, end_ns, texts=False)
    np.testing.assert_array_equal(bare.start_s, fast.start_s)
    np.testing.assert_array_equal(bare.poll, fast.poll)
    assert bare.data == ()


@given(st.lists(burst, max_size=30))
def test_bursts_come_out_as_they_went_in(bursts):
    columns = columns_of(bursts)
    assert columns.since(0) == bursts
    assert len(columns) == len(bursts)


def test_a_number_beyond_sixty_four_bits_is_refused():
    with pytest.raises((OverflowError, ValueError)):
        BurstColumns().extend([(0, 1, 2**70, "tx", b"", None)])
