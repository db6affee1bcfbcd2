"""Columns hold what was put into them, whatever its size, and in few bytes."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from telltick.model.columns import Column, shortest

whole = st.integers(-(1 << 63), (1 << 63) - 1) | st.integers(-200, 200)
pieces = st.lists(st.lists(whole, max_size=70).map(lambda some: np.array(some, dtype=np.int64)), max_size=6)


@given(pieces)
def test_what_comes_in_pieces_is_there_in_order(parts):
    column = Column(np.zeros(0, dtype=np.int8))
    handed_out = []
    for part in parts:
        column.extend(shortest(part))
        handed_out.append(column.values)
    everything = np.concatenate([np.zeros(0, dtype=np.int64), *parts])
    np.testing.assert_array_equal(column.values, everything)
    for values in handed_out:
        np.testing.assert_array_equal(values, everything[: len(values)])


def test_small_numbers_take_a_byte_and_one_large_one_changes_that():
    column = Column(shortest(np.arange(100)))
    assert column.values.itemsize == 1
    column.extend(shortest(np.array([1 << 40])))
    assert column.values.itemsize == 8
    assert column.values[[0, 99, 100]].tolist() == [0, 99, 1 << 40]


def test_what_is_kept_is_followed_by_what_comes():
    column = Column(np.arange(10).reshape(5, 2))
    column.keep(np.array([False, True, False, True, False]))
    column.extend(np.array([[7, 7]]))
    assert column.values.tolist() == [[2, 3], [6, 7], [7, 7]]
    assert len(column) == 3


@given(pieces)
def test_a_few_numbers_are_appended_as_pieces_are(parts):
    column, other = Column(np.zeros(0, dtype=np.int8)), Column(np.zeros(0, dtype=np.int8))
    for part in parts:
        if len(part):
            column.extend_by_few(part.tolist())
            other.extend(shortest(part))
        np.testing.assert_array_equal(column.values, other.values)
        assert column.values.dtype == other.values.dtype
