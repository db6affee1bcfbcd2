"""Memory that large arrays leave behind; what it does for a viewer is measured in `tests.benchmarks.soak`."""

from __future__ import annotations

import ctypes
import gc
from types import SimpleNamespace

import pytest

from telltick.engine.heap import (
    give_back_large_arrays,
    give_back_what_is_free,
    pass_over_what_lives_now,
)


def test_glibc_is_told():
    if not hasattr(ctypes.CDLL(None), "gnu_get_libc_version"):
        pytest.skip("this C library is not glibc")
    assert give_back_large_arrays()


def test_another_c_library_is_left_alone(monkeypatch):
    monkeypatch.setattr(ctypes, "CDLL", lambda _: SimpleNamespace())
    assert not give_back_large_arrays()
    assert not give_back_what_is_free()


def test_pages_that_nobody_needs_go_back():
    if not hasattr(ctypes.CDLL(None), "gnu_get_libc_version"):
        pytest.skip("this C library is not glibc")
    small = [bytes(4000) for _ in range(2000)]  # below what is mapped one by one
    last = bytes(4000)  # lies above them, so that they cannot go back by themselves
    del small
    assert give_back_what_is_free()
    assert last


def test_searches_for_garbage_leave_out_what_was_there_before():
    lasting = [[] for _ in range(1000)]
    try:
        pass_over_what_lives_now()
        searched = gc.get_objects()
    finally:
        gc.unfreeze()
    assert len(searched) < 1000
    assert lasting
