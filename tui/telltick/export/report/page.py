"""A report as one HTML page that needs nothing but itself: no network, no script."""

from __future__ import annotations

import math
from collections.abc import Mapping

from telltick.export.report.figures import Picture, pictures
from telltick.export.report.sound import Playable, common_gain, playables
from telltick.export.report.story import Story
from telltick.export.report.telling import story_of
from telltick.export.report.words import said
from telltick.export.values import utc
from telltick.model.cautions import HEADPHONES
from telltick.model.evidence import Evidence


def report_html(evidence: Evidence) -> str:
    """The report on a session as text; every word from outside is escaped."""
    story = story_of(evidence)
    wanted = frozenset(name for section in story.sections for name in section.figures)
    made = utc(evidence.made_wall_ns)
    return story_html(
        story,
        pictures(evidence, wanted),
        clips=playables(evidence.clips),
        gain_db=round(20 * math.log10(common_gain(evidence.clips))),
        made=f"{made or ''} by {said(evidence.program) or 'telltick'}",
    )


def story_html(
    story: Story,
    shown: Mapping[str, Picture],
    *,
    clips: tuple[Playable, ...] = (),
    gain_db: int = 0,
    made: str = "",
) -> str:
    """Any report as a page.

    Args:
        story: what it says.
        shown: the figures that its sections name.
        clips: what can be played.
        gain_db: by how much the recorded clips are amplified.
        made: when, and by what.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined

    rooms = Environment(
        loader=PackageLoader("telltick.export.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return rooms.get_template("report.html").render(
        story=story, pictures=shown, clips=clips, gain_db=gain_db, volume=HEADPHONES, made=made
    )
