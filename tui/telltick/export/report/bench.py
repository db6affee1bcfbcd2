"""The bench, the method, its limits and the record: what stands around the results."""

from __future__ import annotations

from telltick.export.report.story import Column, Section, Table
from telltick.export.report.words import clock, count, lasting, said, setup_words, warning
from telltick.export.values import audio_s, recorded_words
from telltick.model.cautions import ALL as CAUTIONS
from telltick.model.evidence import Evidence
from telltick.model.marks import Mark, MarkKind
from telltick.model.readings import Band

_BAND = Band()
METHOD = (
    "Receiver audio and serial traffic were recorded on one clock. For every byte on the serial line it is "
    "known when it was there; the delay from the line to the audio is found from the recording itself.",
    f"Interference is separated from noise by when bytes flow: N is the power in {_BAND.low_hz:g} to "
    f"{_BAND.high_hz:g} Hz while none flow, steady tones and hum left out; I is what is added while they do. "
    "The excess is 10 log10((I + N) / N). Intervals are 95 % confidence intervals.",
    "Whatever was changed at the bench was marked as it was done. Marks cut the session into steps of one "
    "setup; the time with hands on the equipment is left out.",
)
LIMITS = (
    "Levels are relative to the sound card's full scale (0 dBFS is the r.m.s. of a full-scale sine, AES17). "
    "Without a calibration they say nothing about microvolts at the antenna socket.",
    "A receiver's automatic gain control changes the noise floor when the interference is strong: excess is "
    "then told too low. Switch it off, or use manual RF gain, for figures that compare.",
    '"No tie found" means that interference, if any, is below the limit given. It never means that '
    "there is none.",
    "A tie to the polling shows that the noise comes with the bytes. Which part radiates or conducts it is "
    "only as certain as the swaps that were made.",
    "A step is one moment of one bench. What drifts by itself (propagation, temperature, the neighbours) is "
    "told apart from a change only when the first setup is measured again.",
    "One tie in a hundred may come by chance alone: of steps in their table, of sessions in the findings. "
    "That holds whenever one looks.",
    "One verdict on a change in twenty sessions may come by chance alone, also where somebody watched and "
    "measured on until a word appeared, up to twenty times as long; beyond that somewhat more often. The "
    "intervals beside it are those of one look.",
)


def bench_section(evidence: Evidence) -> Section:
    """How the bench stood, and what recorded it."""
    session, polling = evidence.session, evidence.measurement.polling
    facts = session.facts
    rows = [
        ("Bench", said(facts.name)),
        ("Recorded", said(recorded_words(facts))),
        (
            "Audio",
            f"{lasting(session.seconds)} at {facts.rate_hz} Hz from {said(facts.audio_name or facts.source)}",
        ),
        ("Audio missing", _gaps(evidence)),
        ("Serial port", said(facts.port) or "none"),
        ("Polling", _polling_words(evidence)),
        ("Replies", polling.replies.words if polling.replies is not None and polling.replies.sent else ""),
        ("Setup at the start", setup_words(facts.setup) or "not on record"),
    ]
    latency = evidence.measurement.latency
    if latency is not None:
        seconds = latency.seconds
        between = f"{1000 * seconds.low:.1f} to {1000 * seconds.high:.1f}"
        rows.append(("Delay, line to audio", f"{1000 * seconds.value:.1f} ms ({between})"))
    if polling.byte_on_fraction:
        rows.append(("Bytes flow", f"{100 * polling.byte_on_fraction:.1f} % of the time"))
    return Section("bench", "Bench", facts=tuple(row for row in rows if row[1]))


def _polling_words(evidence: Evidence) -> str:
    polling = evidence.measurement.polling
    if not polling.polls:
        return "none"
    words = count(polling.polls, "poll")
    if polling.interval_median_s is not None:
        words += f", one each {polling.interval_median_s:.3f} s"
    if polling.baud:
        words += f" at {polling.baud} baud {said(polling.framing)}"
    return words.rstrip()


def _gaps(evidence: Evidence) -> str:
    gaps = evidence.session.gaps
    if not gaps:
        return "nowhere"
    kinds = ", ".join(sorted({str(gap.kind) for gap in gaps}))
    return f"in {count(len(gaps), 'place')} ({kinds}); never joined"


def method_section(evidence: Evidence) -> Section:
    """How the numbers were made."""
    text = list(METHOD)
    trial = evidence.measurement.trial
    if trial is not None:
        text.append(
            f"A coin trial sent each poll into one of {trial.slots} slots by a recorded random draw "
            f"(seed {trial.seed}); the slots not drawn are its own control. Its odds hold at every moment, "
            "and anybody can repeat the draws from the seed."
        )
    return Section("method", "Method", tuple(text))


def timeline_section(evidence: Evidence) -> Section:
    """What was done, and when."""
    session = evidence.session
    rows = [(clock(audio_s(session, mark.t_ns)), *_mark_words(mark)) for mark in session.marks]
    columns = (Column("Audio time"), Column("What"), Column("Note"))
    tables = (Table("Journal: what was done and noted", columns, tuple(rows)),) if rows else ()
    figures = ("timeline",) if evidence.timeline is not None else ()
    return Section("timeline", "Course of the session", tables=tables, figures=figures)


def _mark_words(mark: Mark) -> tuple[str, str]:
    if mark.kind is MarkKind.CHANGE:
        value = "hands on" if mark.value is None else said(mark.value, 80)
        what = f"{said(mark.factor or 'change', 60)}: {value}"
    else:
        what = "note" if mark.kind is MarkKind.NOTE else "mark"
    added = " (added later)" if mark.late else ""
    return f"{what}{added}", said(mark.note)


def limits_section(evidence: Evidence) -> Section:
    """What the method cannot do, and what was said while measuring."""
    measurement = evidence.measurement
    warnings = [warning(one) for one in (*measurement.warnings, *measurement.answers.warnings)]
    return Section("limits", "Limits of the method", items=(*dict.fromkeys(warnings), *LIMITS))


def cautions_section() -> Section:
    """What to mind when the tests are repeated."""
    return Section("cautions", "Cautions for whoever repeats this", items=CAUTIONS)


def record_section(evidence: Evidence) -> Section:
    """Versions and checksums: what it takes to repeat the numbers."""
    facts = evidence.session.facts
    recorded = ", ".join(f"{said(k, 40)} {said(v, 40)}" for k, v in facts.versions.items())
    measured = ", ".join(f"{said(k, 40)} {said(v, 40)}" for k, v in evidence.versions.items())
    rows = [
        (
            "Imported by" if facts.imported else "Recorded by",
            f"{said(facts.program)} ({recorded})" if recorded else said(facts.program),
        ),
        ("Measured by", f"{said(evidence.program)} ({measured})" if measured else said(evidence.program)),
        ("Machine", said(facts.host)),
        ("Session", said(evidence.session.name)),
        ("Seed of all draws", str(facts.seed)),
    ]
    columns = (Column("File"), Column("Bytes", "number"), Column("SHA-256", "hex"))
    files = tuple((said(one.name, 200), f"{one.size:,}", one.sha256) for one in evidence.files)
    tables = (Table("The session's files when this was made", columns, files),) if files else ()
    text = ("Anybody with these files gets the same numbers: telltick measure SESSION.",) if files else ()
    return Section(
        "record", "Versions and checksums", text, tuple(row for row in rows if row[1]), tables=tables
    )
