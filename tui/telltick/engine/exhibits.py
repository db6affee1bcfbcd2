"""What a report can show beside numbers: clips to listen to, the level over time, checksums of the files."""

from __future__ import annotations

import time
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from telltick import __version__
from telltick.engine.gates import gate_near
from telltick.engine.parts import Progress
from telltick.engine.versions import library_versions
from telltick.measure.cells import power_cells
from telltick.measure.clips import interference_clip, polled_clip, quiet_clip
from telltick.measure.frames import FULL_SCALE
from telltick.model.clock import Floats
from telltick.model.errors import CancelledError
from telltick.model.evidence import Clip, Evidence, Timeline
from telltick.model.measurement import Measurement, StepReading
from telltick.model.readings import Verdict
from telltick.store.copying import file_digests
from telltick.store.session import SessionReader

Samples = npt.NDArray[np.int64]
_LISTENED_S = 60.0  # of a step
_ALONE = (
    "What all polls have in common: each burst replaced by the average of all, at their rhythm; noise and "
    "stations are gone. Its loudness says nothing."
)
COLUMNS = 700  # more than a printed page shows
_LEAST_COLUMN_S = 0.25
_BATCH_S = 30.0  # of audio in memory
_FLOOR = 1e-14  # -140 dBFS


def evidence_of(
    reader: SessionReader, measurement: Measurement, progress: Progress = lambda _: True
) -> Evidence:
    """Everything that a report on a session is made of.

    Args:
        reader: an open session.
        measurement: what was measured of it.
        progress: told the share done, 0 to 1; answers False to give up.

    Raises:
        CancelledError: progress said to give up.
    """
    return Evidence(
        session=reader.document(),
        measurement=measurement,
        clips=clips_of(reader, measurement),
        timeline=timeline_of(reader, lambda share: progress(0.7 * share)),
        files=file_digests(reader.folder, lambda share: progress(0.7 + 0.3 * share)),
        program=f"telltick {__version__}",
        versions=library_versions(),
        made_wall_ns=time.time_ns(),
    )


def clips_of(reader: SessionReader, measurement: Measurement) -> tuple[Clip, ...]:
    """The receiver in peace, polled, and the interference alone, from the step where it stands highest."""
    step = _loudest(measurement)
    if step is None or measurement.latency is None:
        return ()
    rate = reader.facts.rate_hz
    first, end = (int(edge * rate) for edge in reader.clock.nearest_s([step.step.start_ns, step.step.end_ns]))
    first = max([first, *(gap.sample for gap in reader.gaps if gap.sample < end)])  # one run, without a seam
    samples = reader.audio.read(first, int(min(end - first, _LISTENED_S * rate)))
    gate = gate_near(reader, first / rate, (first + len(samples)) / rate)
    gate = gate.shifted(measurement.latency.shift_s(gate.start_s))
    where = f"Step {step.step.index + 1}, as recorded"
    made = (
        ("quiet", "Noise alone", f"{where}, while no bytes flow.", quiet_clip, False),
        ("polled", "With polling", f"{where}, while the radio is polled.", polled_clip, False),
        ("interference", "The interference alone", _ALONE, interference_clip, True),
    )
    found = [
        Clip(name, title, caption, sound / np.float64(FULL_SCALE), rate, own_level)
        for name, title, caption, make, own_level in made
        if (sound := make(samples, first, rate, gate)) is not None
    ]
    return tuple(found)


def _loudest(measurement: Measurement) -> StepReading | None:
    """The step with the highest excess among those with a tie; else the one with most polls."""
    tied = [one for one in measurement.steps if one.reading.verdict is Verdict.TIED and one.reading.excess_db]
    if tied:
        return max(tied, key=lambda one: one.reading.excess_db.value if one.reading.excess_db else 0.0)
    return max(measurement.steps, key=lambda one: one.reading.polls, default=None)


def timeline_of(reader: SessionReader, progress: Progress = lambda _: True) -> Timeline | None:
    """Level over the whole session; None without audio."""
    rate, samples = reader.facts.rate_hz, reader.audio.samples
    columns = int(min(COLUMNS, samples / rate / _LEAST_COLUMN_S))
    if columns < 1:
        return None
    edges = np.linspace(0, samples, columns + 1).astype(np.int64)
    levels = np.full((2, columns), np.nan)
    batch = max(1, int(_BATCH_S * rate / (samples / columns)))  # columns whose audio is read together
    for begin in range(0, columns, batch):
        part = edges[begin : begin + batch + 1]
        levels[:, begin : begin + len(part) - 1] = _levels(reader, part)
        if not progress((begin + len(part) - 1) / columns):
            raise CancelledError("given up: nothing was written")
    at_s = np.asarray((edges[:-1] + edges[1:]) / 2 / rate, dtype=np.float64)
    return Timeline(at_s, levels[0], levels[1])


def _levels(reader: SessionReader, edges: Samples) -> Floats:
    """Median and 99th percentile of the 1 ms cells of each column, in dBFS; shape (2, columns)."""
    rate = reader.facts.rate_hz
    end = int(min(edges[-1], edges[0] + _BATCH_S * rate))  # of a column longer than that, a part will do
    start = max(int(edges[0]) - rate, 0)  # cells need most of a second around them
    cells = power_cells(reader.audio.read(start, end + rate - start), start, rate)
    at = np.arange(cells.first, cells.first + len(cells.power))
    borders = np.searchsorted(at, 1000 * edges / rate)
    out = np.full((2, len(edges) - 1), np.nan)
    for column, (first, last) in enumerate(pairwise(borders)):
        if last > first:
            power = np.percentile(cells.power[first:last], (50, 99))
            out[:, column] = 10 * np.log10(np.maximum(power, _FLOOR))
    return out
