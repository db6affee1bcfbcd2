"""Costly looks at a step: on a short stretch from its middle, chosen by rule and so the same each time.

How loud it sounds is told from the middle ten seconds: the needle of the meter wanders by a few tenths of a
decibel, and its mean over ten seconds by less than one. The portrait and the spectra of the bursts take as
much of the middle as holds 75 polls, ten seconds to a minute of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from telltick.engine.cell_store import CellStore
from telltick.engine.gates import gate_near
from telltick.engine.spans import Span
from telltick.measure.bits import BitsListener
from telltick.measure.characters import BurstSpectra, burst_length_s, burst_spectra, character_rate
from telltick.measure.coherent import coherent_average
from telltick.measure.loudness import heard_level
from telltick.measure.portrait import portrait
from telltick.model.characteristics import BitsHeard, CharacterRate, CoherentAverage, Heard, Portrait
from telltick.model.framing import Framing
from telltick.model.readings import Latency, Reading, Verdict
from telltick.model.traffic import Gate
from telltick.store.session import SessionReader

LISTEN_S, BRIEFLY_S = 10.0, 4.0
POLLS = 75
AGAINST_TEXTS = 12
SHORTEST_S, LONGEST_S = 10.0, 60.0


@dataclass(frozen=True)
class CloseLook:
    """What was found of a stretch.

    Attributes:
        heard: how loud it sounds.
        portrait: mean response around its polls.
        spectra: of its bursts and the quiet beside them.
        character: the character rate that they speak of.
        part: the stretch that portrait and spectra are of; None where only the ear was asked.
        latency: in use there.
    """

    heard: Heard | None = None
    portrait: Portrait | None = None
    spectra: BurstSpectra | None = None
    character: CharacterRate | None = None
    part: Span | None = None
    latency: Latency | None = None


class CloseLooker:
    """Takes close looks at stretches of one session."""

    def __init__(self, reader: SessionReader, cells: CellStore) -> None:
        self._reader, self._cells = reader, cells
        self._rate_hz = reader.facts.rate_hz

    def look(
        self,
        run: Span,
        span: Span,
        latency: Latency | None,
        reading: Reading,
        *,
        listen_s: float = LISTEN_S,
        closely: bool = True,
    ) -> CloseLook:
        """Look at the middle of a stretch.

        Args:
            run: the capture run it lies in.
            span: the stretch; what lies beyond the run is left out.
            latency: the run's latency.
            reading: what was measured of the stretch; without a tie only the ear is asked.
            listen_s: for how long the ear is asked.
            closely: otherwise only the ear is asked.
        """
        inside = span.within(run)
        if not inside.seconds:
            return CloseLook()
        heard = self._listen(inside.middle(listen_s), latency)
        if not closely or latency is None or reading.verdict is not Verdict.TIED:
            return CloseLook(heard)
        middle = inside.middle(_seconds_for(reading))
        gate = gate_near(self._reader, middle.start_s, middle.end_s)
        spectra = self._spectra(middle, _heard_gate(gate, latency))
        return CloseLook(
            heard,
            self._portrait(run, middle, gate, latency),
            spectra,
            character_rate(spectra) if spectra is not None else None,
            middle,
            latency,
        )

    def bits(self, look: CloseLook, baud: int | None, framing: str) -> BitsHeard | None:
        """Whether the bits themselves are heard where a look was taken; None where bytes or baud are unknown.

        Only a few of the polls are held against other texts, which takes long.
        """
        if look.part is None or look.latency is None or not baud:
            return None
        part = look.part
        gate = _heard_gate(gate_near(self._reader, part.start_s, part.end_s), look.latency)
        if not any(gate.data):
            return None
        first, end = int(part.start_s * self._rate_hz), int(part.end_s * self._rate_hz)
        listener = BitsListener(
            self._rate_hz,
            baud,
            _framing(framing),
            shift_hz=look.character.shift_hz if look.character is not None else 0.0,
            against_texts=AGAINST_TEXTS,
        )
        listener.add(self._reader.audio.read(first, end - first), first, gate)
        return listener.result()

    def coherent(self, look: CloseLook) -> CoherentAverage | None:
        """What the bursts with the same bytes share where a look was taken; None where nothing does."""
        if look.part is None or look.latency is None:
            return None
        part = look.part
        gate = _heard_gate(gate_near(self._reader, part.start_s, part.end_s), look.latency)
        first, end = int(part.start_s * self._rate_hz), int(part.end_s * self._rate_hz)
        return coherent_average(self._reader.audio.read(first, end - first), first, self._rate_hz, gate)

    def _listen(self, part: Span, latency: Latency | None) -> Heard | None:
        gate = _heard_gate(gate_near(self._reader, part.start_s, part.end_s), latency)
        first, end = int(part.start_s * self._rate_hz), int(part.end_s * self._rate_hz)
        samples = self._reader.audio.read(first, end - first)
        return heard_level(samples, self._rate_hz, gate.shifted(-first / self._rate_hz))

    def _portrait(self, run: Span, part: Span, gate: Gate, latency: Latency) -> Portrait | None:
        cells = self._cells.between(run, part)
        if cells is None:
            return None
        shift_s = latency.seconds.value
        inside = gate.between(part.start_s - shift_s, part.end_s - shift_s)
        return portrait(cells.power, cells.first, inside, latency, locked=latency.locked)

    def _spectra(self, part: Span, gate: Gate) -> BurstSpectra | None:
        length_s = burst_length_s(gate)
        if length_s is None:
            return None
        first, end = int(part.start_s * self._rate_hz), int(part.end_s * self._rate_hz)
        samples = self._reader.audio.read(first, end - first)
        return burst_spectra(samples, first, self._rate_hz, gate, length_s=length_s)


def _seconds_for(reading: Reading) -> float:
    """Length of audio that holds enough polls."""
    return float(np.clip(POLLS * reading.seconds / max(reading.polls, 1), SHORTEST_S, LONGEST_S))


def _heard_gate(gate: Gate, latency: Latency | None) -> Gate:
    """The gate where its bytes are heard."""
    if latency is None or not len(gate.start_s):
        return gate
    return gate.shifted(latency.shift_s(gate.start_s))


def _framing(text: str) -> Framing:
    """The framing that a session names; 8N1 where it names none that exists."""
    try:
        return Framing.parse(text)
    except ValueError:
        return Framing()


def longest_part(span: Span, runs: tuple[Span, ...]) -> Span | None:
    """The run that holds most of a stretch; None where none holds any."""
    best = max(runs, key=lambda run: span.within(run).seconds, default=None)
    return best if best is not None and span.within(best).seconds > 0 else None
