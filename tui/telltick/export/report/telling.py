"""The whole report of a session, free of any format."""

from __future__ import annotations

from telltick.export.report.answer import QUESTION, answer
from telltick.export.report.bench import (
    bench_section,
    cautions_section,
    limits_section,
    method_section,
    record_section,
    timeline_section,
)
from telltick.export.report.results import (
    changes_section,
    findings_section,
    next_section,
    not_tested_section,
    on_air_section,
    sound_section,
    steps_section,
)
from telltick.export.report.story import Story
from telltick.export.report.words import lasting, said
from telltick.export.values import wall_utc
from telltick.model.evidence import Evidence


def story_of(evidence: Evidence) -> Story:
    """Question, answer and every section that has something to say."""
    session = evidence.session
    sections = (
        findings_section(evidence),
        steps_section(evidence),
        changes_section(evidence),
        sound_section(evidence),
        on_air_section(evidence),
        not_tested_section(evidence),
        next_section(evidence),
        bench_section(evidence),
        method_section(evidence),
        timeline_section(evidence),
        limits_section(evidence),
        cautions_section(),
        record_section(evidence),
    )
    when = wall_utc(session.facts)
    day = when[:10] if when else said(session.facts.recorded, 40)
    about = [said(session.facts.name), day, f"{lasting(session.seconds)} of audio"]
    return Story(
        title="Interference made by serial polling",
        subtitle=", ".join(part for part in about if part),
        question=QUESTION,
        answer=answer(evidence.measurement),
        sections=tuple(section for section in sections if not section.empty),
    )
