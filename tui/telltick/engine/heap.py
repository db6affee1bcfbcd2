"""Memory goes back to the system when nobody needs it, so that a long watch stays small."""

from __future__ import annotations

import ctypes
import gc
import sys

M_MMAP_THRESHOLD = -3  # mallopt(3)
LARGE_BYTES = 1 << 16


def give_back_large_arrays() -> bool:
    """Have the C library map arrays beyond 64 kB one by one; True where it can be told.

    Left to itself glibc raises that limit with the first large array that is freed, and its heap then grows
    around arrays that come and go (mallopt(3), M_MMAP_THRESHOLD).
    """
    if not sys.platform.startswith("linux"):
        return False
    try:
        return bool(ctypes.CDLL(None).mallopt(M_MMAP_THRESHOLD, LARGE_BYTES))
    except (OSError, AttributeError):  # another C library
        return False


def give_back_what_is_free() -> bool:
    """Have the C library return the free pages of its heap (malloc_trim(3)); True where there were some."""
    if not sys.platform.startswith("linux"):
        return False
    try:
        return bool(ctypes.CDLL(None).malloc_trim(0))
    except (OSError, AttributeError):  # another C library
        return False


def pass_over_what_lives_now() -> None:
    """Have later searches for garbage leave out what there is (gc.freeze): modules, widgets.

    All of that stays to the end; going through its quarter of a million objects took 40 ms each half minute.
    """
    gc.collect()
    gc.freeze()
