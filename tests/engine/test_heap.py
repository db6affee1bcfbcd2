"""Memory that large arrays leave behind; what it does for a viewer is measured in `tests.benchmarks.soak`."""

from __future__ import annotations

import ctypes
from types import SimpleNamespace

import pytest

from telltick.engine.heap import give_back_large_arrays


def test_glibc_is_told():
    if not hasattr(ctypes.CDLL(None), "gnu_get_libc_version"):
        pytest.skip("this C library is not glibc")
    assert give_back_large_arrays()


def test_another_c_library_is_left_alone(monkeypatch):
    monkeypatch.setattr(ctypes, "CDLL", lambda _: SimpleNamespace())
    assert not give_back_large_arrays()
