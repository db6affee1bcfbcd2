"""The gate made in columns is the gate of `model.traffic`, burst for burst."""

from __future__ import annotations

import tracemalloc

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
    lambda start, length, direction, data, poll: Burst(start, start + length, direction, data, poll),
    start=st.integers(0, 25 * NS),
    length=st.integers(0, NS // 2),
    direction=st.sampled_from(Direction),
    data=st.binary(max_size=2),
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


in_order_or_not = st.booleans().flatmap(
    lambda ordered: st.lists(burst, max_size=30).map(
        lambda bursts: sorted(bursts, key=lambda one: one.start_ns) if ordered else bursts
    )
)


@given(in_order_or_not, st.integers(0, 25 * NS), st.integers(0, 25 * NS))
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
    assert [columns.burst(index) for index in range(-len(bursts), len(bursts))] == bursts * 2


@given(st.lists(burst, max_size=30), st.integers(0, 25 * NS), burst)
def test_bursts_that_end_before_a_time_are_let_go_of_and_the_others_stay(bursts, t_ns, later):
    columns = columns_of(bursts)
    columns.forget_before(t_ns, [(0, NS)])
    columns.extend([(0, later.start_ns, later.end_ns, str(later.direction), later.data, later.poll)])
    stay = [one for one in bursts if one.end_ns >= t_ns or one.start_ns <= NS]
    assert columns.since(0) == [*stay, later]


def test_a_burst_of_a_day_takes_less_than_thirty_bytes():
    columns = BurstColumns()
    rows = [(0, k * NS // 10, k * NS // 10 + 20_000_000, "tx", b"x", k) for k in range(50_000)]
    tracemalloc.start()
    for first in range(0, len(rows), 4096):
        columns.extend(rows[first : first + 4096])
    held = tracemalloc.get_traced_memory()[0]
    tracemalloc.stop()
    assert held < 30 * len(columns)


def test_a_number_beyond_sixty_four_bits_is_refused():
    with pytest.raises((OverflowError, ValueError)):
        BurstColumns().extend([(0, 1, 2**70, "tx", b"", None)])
