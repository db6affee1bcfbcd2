"""Measure a saved session from end to end, and write what was found."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from telltick.engine.gates import gate_near
from telltick.engine.trial import TrialFollower
from telltick.export.files import export_session
from telltick.export.json_out import measurement_document
from telltick.measure.cells import Cells, power_cells
from telltick.measure.latency import find_latency_in, search_pieces
from telltick.measure.reading import polling_facts, spectrum_of, take_reading
from telltick.measure.rows import PollRows, measure_rows
from telltick.model.errors import BadInputError
from telltick.model.marks import Step, steps_of
from telltick.model.measurement import Measurement, StepReading
from telltick.model.readings import Latency, Reading
from telltick.store.session import SessionReader

CHUNK_S = 60.0
Progress = Callable[[float], None]


def measure_session(reader: SessionReader, progress: Progress = lambda _: None) -> Measurement:
    """Everything that can be measured of a session.

    Each capture run has a latency of its own; the one told is that of the run with the strongest tie.

    Args:
        reader: an open session.
        progress: told the share done, 0 to 1.
    """
    steps = _steps(reader)
    runs = _runs(reader)
    parts: list[PollRows] = []
    latencies: list[Latency] = []
    shift_of_run: list[float] = []
    for first, end in runs:
        latency = _latency_of_run(reader, first, end)
        parts += _rows_of_run(reader, first, end, latency, progress)
        shift_of_run.append(latency.seconds.value if latency else 0.0)
        if latency:
            latencies.append(latency)
    rows = PollRows.join(parts) if parts else None
    best = max(latencies, key=lambda one: one.score, default=None)
    spans = [_span(reader, step, runs, shift_of_run) for step in steps]
    measured = [
        StepReading(step, _reading(rows.between(*span) if rows else None, best))
        for step, span in zip(steps, spans, strict=True)
    ]
    inside = _inside(rows, spans)
    gate = gate_near(reader, 0.0, reader.audio.samples / reader.facts.rate_hz)
    seconds = reader.audio.samples / reader.facts.rate_hz
    baud = _standing_baud(steps, reader.facts.poll.get("baud"))
    return Measurement(
        polling=polling_facts(gate, seconds, baud, str(reader.facts.poll.get("framing", ""))),
        latency=best,
        whole=_reading(inside, best),
        steps=tuple(measured),
        spectrum=spectrum_of(inside) if inside else None,
        warnings=tuple(_session_warnings(reader, best, gate.polls)),
        trial=TrialFollower(reader).read(reader.audio.samples),
    )


def measured_document(folder: Path) -> dict[str, Any]:
    """Measure a session folder; the object that ``measure --json`` prints.

    Raises:
        BadSessionError: the folder is not a session that can be read.
    """
    with SessionReader(folder) as reader:
        return measurement_document(reader.document(), measure_session(reader))


def export_folder(folder: Path, to: str, output: Path | None) -> tuple[Path, ...]:
    """Measure a session folder and write it in one format; returns the files written.

    Raises:
        BadInputError: not a session, an unknown format, or a place that cannot be written.
    """
    if output is not None and to != "csv" and output.is_dir():
        raise BadInputError(f"{output} is a folder; name a file with -o")
    with SessionReader(folder) as reader:
        return export_session(reader.document(), measure_session(reader), to, output)


def _steps(reader: SessionReader) -> tuple[Step, ...]:
    if not reader.anchors:
        return ()
    return steps_of(reader.facts.setup, reader.marks, reader.start_ns, reader.end_ns)


def _runs(reader: SessionReader) -> list[tuple[int, int]]:
    samples = reader.audio.samples
    if not reader.anchors:
        return []
    return [(int(first), int(min(end, samples))) for first, end in reader.clock.runs if first < samples]


def _latency_of_run(reader: SessionReader, first: int, end: int) -> Latency | None:
    rate = reader.facts.rate_hz
    gate = gate_near(reader, first / rate, end / rate)
    pieces = [_cells(reader, *piece) for piece in search_pieces(gate, first / rate, end / rate)]
    return find_latency_in([piece for piece in pieces if piece is not None], gate)


def _cells(reader: SessionReader, start_s: float, end_s: float) -> Cells | None:
    """Power cells of a stretch of audio seconds, a minute of audio in memory at a time."""
    rate = reader.facts.rate_hz
    at, end = int(start_s * rate), int(end_s * rate)
    parts: list[Cells] = []
    while at < end:
        stop = min(end, at + int(CHUNK_S * rate))
        cells = power_cells(reader.audio.read(at, stop - at), at, rate)
        parts.append(cells)
        at = max(int(cells.resume_s * rate), at + 1) if stop < end else end
    return Cells.join(parts) if any(len(part.power) for part in parts) else None


def _rows_of_run(
    reader: SessionReader, first: int, end: int, latency: Latency | None, progress: Progress
) -> list[PollRows]:
    rate = reader.facts.rate_hz
    out: list[PollRows] = []
    at = first
    while at < end:
        stop = min(end, at + int(CHUNK_S * rate))
        gate = gate_near(reader, at / rate, stop / rate)
        if latency is not None:
            gate = gate.shifted(latency.shift_s(gate.start_s))
        rows = measure_rows(reader.audio.read(at, stop - at), at, rate, gate)
        if len(rows.poll):
            out.append(rows)
        progress(stop / max(reader.audio.samples, 1))
        resumed = int(rows.resume_s * rate)
        if stop >= end:
            break
        at = resumed if resumed > at else stop
    return out


def _span(
    reader: SessionReader, step: Step, runs: list[tuple[int, int]], shifts: list[float]
) -> tuple[float, float]:
    """A step's seconds of audio, moved by the latency of the run it begins in."""
    rate = reader.facts.rate_hz
    begin, end = reader.clock.nearest_s([step.start_ns, step.end_ns])
    run = max((i for i, (first, _) in enumerate(runs) if first / rate <= begin + 1e-9), default=0)
    return float(begin) + shifts[run], float(end) + shifts[run]


def _inside(rows: PollRows | None, spans: list[tuple[float, float]]) -> PollRows | None:
    """Rows of all steps together: hands-on time left out."""
    if rows is None:
        return None
    parts = [part for span in spans if len((part := rows.between(*span)).poll)]
    return PollRows.join(parts) if parts else None


def _reading(rows: PollRows | None, latency: Latency | None) -> Reading:
    if rows is None or not len(rows.poll):
        return Reading(0, 0.0, warnings=("This stretch is too short to measure.",))
    return take_reading(rows, latency=latency)


def _standing_baud(steps: tuple[Step, ...], planned: Any) -> int | None:
    """The character rate, when it was the same throughout."""
    values = {step.setup["baud"] for step in steps if "baud" in step.setup}
    if not values:
        return int(planned) if planned else None
    one = values.pop()
    return int(one) if not values and one.isdigit() else None


def _session_warnings(reader: SessionReader, latency: Latency | None, polls: int) -> list[str]:
    said = []
    if not reader.audio.samples:
        said.append("The session holds no audio.")
    if not polls:
        said.append("No serial traffic falls into the audio: interference cannot be told from noise.")
    elif latency is None:
        said.append("latency_ms: no latency stands out; nothing in the audio follows the bytes.")
    elif latency.modulo_s is not None:
        said.append(
            f"latency_ms: known only modulo the poll period of {1000 * latency.modulo_s:.1f} ms: "
            "the polls are too regular for so weak a tie."
        )
    if reader.ending is None:
        said.append("The session has no ending: it is still being recorded, or its recorder was killed.")
    if reader.gaps:
        count = len(reader.gaps)
        said.append(f"Audio is missing in {count} place{'s' if count > 1 else ''}.")
    return said
