"""What every source of audio has in common."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

Samples = npt.NDArray[np.int16]

SILENT_AFTER_S = 1.5  # blocks come every 20 ms; a source silent for this long has gone or has stalled
FIRST_BLOCK_S = 4.0  # but the first may take this long: a sound server's idle input wakes after up to 2 s


@dataclass(frozen=True, slots=True)
class AudioBlock:
    """One block of samples as it came.

    Attributes:
        samples: shape (n,), one channel.
        arrival_ns: monotonic clock when the block was handed over, after its last sample.
        overflow: True when the sound system dropped samples before this block.
        line: shape (n,), the channel of the data line at the same moments; None without one.
    """

    samples: Samples
    arrival_ns: int
    overflow: bool = False
    line: Samples | None = None


class AudioSource(Protocol):
    """Something that delivers blocks of audio from a thread of its own.

    Attributes:
        name: the input's full name.
        rate_hz: sample rate.
        over: True once nothing more will ever come: a file that has been played.
    """

    name: str
    rate_hz: int
    over: bool

    def start(self, sink: Callable[[AudioBlock], None]) -> None:
        """Deliver blocks to `sink`, which must be quick; may follow a `stop`.

        Raises:
            DeviceError: the input cannot be opened.
        """

    def stop(self) -> None:
        """Stop delivering; never hangs, may be called twice."""

    def problem(self) -> str | None:
        """What is wrong, in the library's own words where it has any; None while audio flows."""
