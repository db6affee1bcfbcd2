"""Places of interest in a recording, for the cue and label chunks of a WAV file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from telltick.export.report.words import setup_words
from telltick.export.values import wall_utc
from telltick.model.document import SessionDocument
from telltick.model.marks import Mark, MarkKind
from telltick.model.measurement import Measurement
from telltick.model.readings import Latency
from telltick.model.text import plain_text
from telltick.model.traffic import gate_from_bursts

_LONGEST = 200


@dataclass(frozen=True, slots=True)
class Cue:
    """A place in the audio.

    Attributes:
        sample: index of its first sample.
        length: samples that it lasts; 0 for a point.
        label: what it is.
    """

    sample: int
    length: int
    label: str


def cues_of(session: SessionDocument, measurement: Measurement) -> tuple[Cue, ...]:
    """Steps, marks, gaps and polls, in order of time.

    Polls lie where they are heard: later than their bytes by the latency that was found. Steps, marks and
    gaps lie where they were.
    """
    found = [*_steps(session, measurement), *_marks(session), *_gaps(session)]
    found += _polls(session, measurement.latency)
    inside = (cue for cue in found if 0 <= cue.sample < session.samples)
    return tuple(sorted(inside, key=lambda cue: (cue.sample, -cue.length)))


def wav_info(session: SessionDocument, measurement: Measurement, program: str) -> dict[str, str]:
    """What the file says about itself (LIST INFO)."""
    latency = measurement.latency
    where = "Polls are marked when their bytes flowed; no latency was found."
    if latency is not None:
        later = f"{1000 * latency.seconds.value:.1f} ms after their bytes"
        where = f"Polls are marked where they are heard, {later}."
    told = {
        "INAM": _label(session.facts.name),
        "ICRD": (wall_utc(session.facts) or "")[:10],
        "ISFT": program,
        "ICMT": where,
    }
    return {key: text for key, text in told.items() if text}


def _steps(session: SessionDocument, measurement: Measurement) -> Iterator[Cue]:
    for one in measurement.steps:
        start, end = _sample(session, one.step.start_ns), _sample(session, one.step.end_ns)
        if start is not None and end is not None:
            words = setup_words(one.step.setup, one.step.changed or None)
            yield Cue(start, max(end - start, 0), _label(f"step {one.step.index + 1}: {words}"))


def _marks(session: SessionDocument) -> Iterator[Cue]:
    for mark in session.marks:
        start = _sample(session, mark.t_ns)
        if start is not None:
            end = _sample(session, mark.settled_ns if mark.settled_ns is not None else mark.t_ns)
            yield Cue(start, max((end or start) - start, 0), _label(_mark_words(mark)))


def _mark_words(mark: Mark) -> str:
    if mark.kind is MarkKind.CHANGE:
        words = f"hands on, {mark.factor}: {mark.value or 'open'}"
    else:
        words = str(mark.kind)
    return f"{words}: {mark.note}" if mark.note else words


def _gaps(session: SessionDocument) -> Iterator[Cue]:
    for gap in session.gaps:
        yield Cue(gap.sample, 0, _label(f"gap: {gap.kind}; audio is missing here"))


def _polls(session: SessionDocument, latency: Latency | None) -> Iterable[Cue]:
    gate = gate_from_bursts(session.bursts, session.clock)
    if not gate.polls:
        return
    if latency is not None:
        gate = gate.shifted(latency.shift_s(gate.start_s))
    rate = session.facts.rate_hz
    starts = np.rint(gate.poll_start_s * rate).astype(np.int64)
    lengths = np.rint((gate.poll_end_s - gate.poll_start_s) * rate).astype(np.int64)
    for number, (start, length) in enumerate(zip(starts.tolist(), lengths.tolist(), strict=True), start=1):
        yield Cue(start, length, f"poll {number}")


def _sample(session: SessionDocument, t_ns: int) -> int | None:
    seconds = session.audio_s(t_ns)
    return None if seconds is None else round(seconds * session.facts.rate_hz)


def _label(text: str) -> str:
    return plain_text(text, _LONGEST)
