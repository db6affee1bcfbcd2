"""The character rate in the live sound, worked out now and then: it costs some hundredths of a second."""

from __future__ import annotations

import time
from collections.abc import Callable

from telltick.engine.gates import gate_near
from telltick.measure.characters import burst_length_s, burst_spectra, character_rate
from telltick.model.characteristics import CharacterRate
from telltick.store.session import SessionReader

WINDOW_S = 30.0  # sound listened to, at most
MOST_POLLS = 40  # more say nothing new
LEAST_S = 4.0  # of a step before it is listened to
AGAIN_S = 10.0  # of new sound before it is listened to again; a whole window once that says nothing new
SHARE = 0.0015  # of a processor's time, at most


class RateEar:
    """Remembers which character rate the step at hand speaks of."""

    def __init__(self, reader: SessionReader, clock_s: Callable[[], float] = time.monotonic) -> None:
        self._reader, self._clock_s = reader, clock_s
        self._step_s = -1.0
        self._heard_to_s = -1e9
        self._next_s = -1e9  # by the clock: listening must not take more than its share
        self._found: CharacterRate | None = None
        self._agreed = False  # the last two times said the same

    def listen(self, begin_s: float, until_s: float, shift_s: float) -> CharacterRate | None:
        """The character rate that a step's sound speaks of, so far as it was listened to; else None.

        Args:
            begin_s: where the step begins, in seconds of audio.
            until_s: the moment.
            shift_s: latency.
        """
        if begin_s != self._step_s:
            self._step_s, self._found, self._heard_to_s, self._agreed = begin_s, None, -1e9, False
        settled = self._agreed or self._heard_to_s - begin_s >= WINDOW_S
        fresh = not 0 <= until_s - self._heard_to_s < (WINDOW_S if settled else AGAIN_S)
        now_s = self._clock_s()
        if fresh and until_s - begin_s >= LEAST_S and now_s >= self._next_s:
            before, self._found = self._found, self._hear(max(begin_s, until_s - WINDOW_S), until_s, shift_s)
            self._agreed = before is not None and self._found is not None and before.baud == self._found.baud
            self._heard_to_s = until_s
            self._next_s = now_s + (self._clock_s() - now_s) / SHARE
        return self._found

    def _hear(self, begin_s: float, end_s: float, shift_s: float) -> CharacterRate | None:
        gate = gate_near(self._reader, begin_s, end_s).shifted(shift_s)
        length_s = burst_length_s(gate)
        heard = gate.poll_start_s[(gate.poll_start_s >= begin_s) & (gate.poll_end_s < end_s)]
        if length_s is None or not len(heard):
            return None
        rate_hz = self._reader.facts.rate_hz
        first = int(heard[-MOST_POLLS:][0] * rate_hz)
        samples = self._reader.audio.read(first, int(end_s * rate_hz) - first)
        return character_rate(burst_spectra(samples, first, rate_hz, gate, length_s=length_s))
