"""The report as one HTML page that needs nothing but itself: no network, no script."""

from __future__ import annotations

import math

from telltick.export.report.figures import pictures
from telltick.export.report.sound import common_gain, playables
from telltick.export.report.telling import story_of
from telltick.export.values import wall_utc
from telltick.model.cautions import HEADPHONES
from telltick.model.evidence import Evidence


def report_html(evidence: Evidence) -> str:
    """The whole page as text; every word from outside is escaped."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    rooms = Environment(
        loader=PackageLoader("telltick.export.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    story = story_of(evidence)
    wanted = frozenset(name for section in story.sections for name in section.figures)
    return rooms.get_template("report.html").render(
        story=story,
        pictures=pictures(evidence, wanted),
        clips=playables(evidence.clips),
        gain_db=round(20 * math.log10(common_gain(evidence.clips))),
        volume=HEADPHONES,
        made=wall_utc(evidence.session.facts, evidence.made_wall_ns - evidence.session.facts.started_wall_ns),
        program=evidence.program,
    )
