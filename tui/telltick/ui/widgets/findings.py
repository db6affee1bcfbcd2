"""Findings: the ways in and what the steps say of each, and what to test next."""

from __future__ import annotations

from collections.abc import Callable

from telltick.model.answers import Answers, Finding, NextTest, PathVerdict
from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import BLANK, Role, Room, Row, Run, row, shorten, spread, text_of, width_of, wrapped
from telltick.ui.widgets.sheet import LEAD, Item, Sheet
from telltick.ui.widgets.steps import numbers_of

SIGN = {
    PathVerdict.SUPPORTED: "+",
    PathVerdict.RULED_OUT: "-",
    PathVerdict.UNDECIDED: "?",
    PathVerdict.CONTRADICTORY: "!",
    PathVerdict.NOT_TESTED: ".",
}
ROLE = {
    PathVerdict.SUPPORTED: Role.RISE,
    PathVerdict.RULED_OUT: Role.GOOD,
    PathVerdict.UNDECIDED: Role.WARN,
    PathVerdict.CONTRADICTORY: Role.BAD,
    PathVerdict.NOT_TESTED: Role.LABEL,
}
VERDICT = 16  # columns of sign and word
FEW_ROWS = 24  # below this a reason has fewer rows
MOST_ROWS, FEWER_ROWS = 4, 2  # of a reason
KeyOf = Callable[[str], str]
NONE_YET = "Nothing has been measured yet that says anything of a way in."


def findings_sheet(answers: Answers, room: Room, key_of: KeyOf) -> Sheet:
    """The page.

    Args:
        answers: findings and next tests.
        room: what there is to draw in.
        key_of: the key that changes a factor; empty when there is none.
    """
    items = [finding_item(finding, room) for finding in answers.findings]
    if not items:
        items = [Item((BLANK, row(Run(NONE_YET, Role.TEXT))))]
    if answers.next_tests:
        items.append(Item((BLANK, row(Run("what to test next", Role.LABEL)))))
        items += [next_item(test, room, key_of) for test in answers.next_tests]
    return Sheet(items=tuple(items))


def finding_item(finding: Finding, room: Room) -> Item:
    """A way in: verdict, question, steps; below it why."""
    width = room.width - LEAD
    head = _head(finding, width, room.glyphs)
    most = MOST_ROWS if room.height >= FEW_ROWS else FEWER_ROWS
    why = _cut(room.glyphs.clean(finding.because, 600), width - VERDICT - 1, most)
    if finding.verdict is PathVerdict.NOT_TESTED and room.height < FEW_ROWS:
        why = []
    indent = Run(" " * VERDICT)
    return Item((head, *(row(indent, *line) for line in why)), finding)


def _head(finding: Finding, width: int, glyphs: Glyphs) -> Row:
    """Verdict and question, and the steps where the question leaves them room: details have them too."""
    question = glyphs.clean(finding.question, 160)
    steps = row(Run(f"  {numbers_of(finding.steps)} ", Role.LABEL))
    free = width - VERDICT - 1
    if width_of((Run(question),)) + width_of(steps) > free:
        return row(verdict_run(finding), Run(shorten(question, free), Role.TEXT))
    return spread(row(verdict_run(finding), Run(question, Role.TEXT)), steps, width)


def _cut(text: str, width: int, most: int) -> list[Row]:
    """Text in at most so many rows; a cut shows as two dots, and details have the rest."""
    lines = wrapped(text, width, Role.LABEL)
    if len(lines) <= most:
        return lines
    rest = " ".join(text_of(line) for line in lines[most - 1 : most + 1])
    return [*lines[: most - 1], row(Run(shorten(rest, width), Role.LABEL))]


def verdict_run(finding: Finding) -> Run:
    """The verdict with its sign, of a stable width."""
    word = f"{SIGN[finding.verdict]} {finding.verdict.upper()}"
    return Run(f"{word:<{VERDICT}}", ROLE[finding.verdict])


def next_item(test: NextTest, room: Room, key_of: KeyOf) -> Item:
    """A test worth making, with its key."""
    width, glyphs = room.width - LEAD, room.glyphs
    key = key_of(test.factor)
    press = row(Run("press ", Role.LABEL), Run(key, Role.KEY), Run("  ")) if key else row(Run("  "))
    what = Run(glyphs.clean(test_words(test, glyphs), 120), Role.NUMBER)
    why = wrapped(glyphs.clean(test.because, 400), width - VERDICT - 1, Role.LABEL)
    caution = wrapped(f"Caution: {glyphs.clean(test.caution, 400)}", width - VERDICT - 1, Role.WARN)
    below = [*why, *(caution if test.caution else [])]
    indent = Run(" " * VERDICT)
    return Item((row(*press, what), *(row(indent, *line) for line in below)), test)


def test_words(test: NextTest, glyphs: Glyphs) -> str:
    """What to change to what."""
    return f"{test.factor} {glyphs.arrow} {test.value}" if test.value else test.factor
