"""Would it matter on the air? One entry among the findings: hidden or heard, by how much, and where."""

from __future__ import annotations

from telltick.model.measurement import Measurement
from telltick.ui.rows import Role, Room, Row, Run, row, wrapped
from telltick.ui.widgets.findings import VERDICT
from telltick.ui.widgets.sheet import LEAD, Item, Sheet
from telltick.ui.widgets.steps import numbers_of

QUESTION = "Would it matter on the air?"
SIGN = {"heard": "+", "hidden": "-", "about as strong": "?", "none found": "-"}
ROLE = {"heard": Role.RISE, "hidden": Role.GOOD, "about as strong": Role.WARN, "none found": Role.GOOD}
WORD = {"about as strong": "NEAR IT"}  # where the full words do not fit
AFTER = 1  # findings that stand before it
_KEY = "on_air: "


def with_on_air(sheet: Sheet, measurement: Measurement, room: Room) -> Sheet:
    """The page of findings with the answer in it: high up where it is known, below where it is not."""
    items, findings = list(sheet.items), len(measurement.answers.findings)
    step = measurement.on_air_step
    if step is not None and step.on_air is not None:
        where = f"{numbers_of((step.step.index,))}; Rec. ITU-R P.372"
        words = f"{step.on_air.answer} ({where})."
        items.insert(min(AFTER, findings), _item(step.on_air.word, words, room, step))
        return Sheet(sheet.head, tuple(items), sheet.foot)
    why = [text.removeprefix(_KEY) for text in measurement.warnings if text.startswith(_KEY)]
    if why and findings:
        items.insert(findings, _item("", f"Not known: {why[0]}", room, None))
    return Sheet(sheet.head, tuple(items), sheet.foot)


def _item(word: str, words: str, room: Room, about: object) -> Item:
    sign = f"{SIGN.get(word, '.')} {WORD.get(word, word).upper() or 'NOT KNOWN'}"
    head = row(Run(f"{sign:<{VERDICT}}", ROLE.get(word, Role.LABEL)), Run(QUESTION, Role.TEXT))
    said = words[0].upper() + words[1:]
    lines: list[Row] = wrapped(room.glyphs.clean(said, 400), room.width - LEAD - VERDICT - 1, Role.LABEL)
    return Item((head, *(row(Run(" " * VERDICT), *line) for line in lines)), about)
