"""What the set-up screen draws."""

from __future__ import annotations

from dataclasses import dataclass

from telltick.engine.tryout import Answer
from telltick.model.cautions import FRAMES, SERIAL_LINES_IN_SHORT
from telltick.model.snapshot import InputHealth
from telltick.model.text import plain_text
from telltick.ui.rows import BLANK, Role, Room, Row, Run, row, rule, shorten, spread, wrapped
from telltick.ui.setup.form import NO_PORT, Field, Form

LABEL_CELLS = 15
BEGIN_GROUP = ("input", "port", "setup.antenna")  # fields before which a gap stands, where there is room
BAR_LOW_DBFS = -90.0


@dataclass(frozen=True)
class Trial:
    """How far trying the inputs has come.

    Attributes:
        health: level of the sound input; None while none is open.
        sure: the caution about the port is shown and waits for a second key.
        asking: a request is under way.
        answer: what came of the last one.
        problem: why the sound input cannot be heard; empty when it can.
    """

    health: InputHealth | None = None
    sure: bool = False
    asking: bool = False
    answer: Answer | None = None
    problem: str = ""


def draw_form(form: Form, at: int, room: Room) -> list[Row]:
    """The form's lines, as many as fit around the one pointed at."""
    head = rule("station set-up", room)
    lines = [_line(one, form, at=k == at, room=room) for k, one in enumerate(form.fields)]
    shown = max(room.height - 1, 0)
    groups = [k for k, one in enumerate(form.fields) if one.key in BEGIN_GROUP]
    if len(lines) + len(groups) <= shown:
        for k in reversed(groups):
            lines.insert(k, BLANK)
        return [head, *lines]
    first = min(max(at - shown + 2, 0), max(len(lines) - shown, 0))
    return [head, *lines[first : first + shown]]


def _line(one: Field, form: Form, *, at: bool, room: Room) -> Row:
    glyphs = room.glyphs
    value = glyphs.clean(form.values[one.key], 100)
    lead = Run(f" {glyphs.here if at else ' '} ", Role.KEY)
    label = Run(f"{one.label:<{LABEL_CELLS}}", Role.LABEL)
    arrows = f" {glyphs.left} {glyphs.right}" if at and one.offers else ""
    words = shorten(value, max(room.width - LABEL_CELLS - 4 - len(arrows), 0))
    told = Run(words, Role.NUMBER if at else Role.TEXT) if words else Run("-", Role.RULE)
    return row(lead, label, told, Run(arrows, Role.KEY))


def draw_trial(form: Form, at: int, trial: Trial, room: Room) -> list[Row]:
    """Beside the form: what the line means, how loud the input is, what the radio answered."""
    rows = [rule("about this line", room)]
    rows += _padded(wrapped(form.fields[at].help, room.width - 2, Role.TEXT))
    rows += [BLANK, rule("sound input", room), *_level(trial, room)]
    rows += [BLANK, rule("the radio's answer", room), *_answer(form, trial, room)]
    return rows[: room.height]


def _padded(rows: list[Row]) -> list[Row]:
    return [row(Run(" "), *line) for line in rows]


def _level(trial: Trial, room: Room) -> list[Row]:
    if trial.problem:
        return _padded(wrapped(f"! {room.glyphs.clean(trial.problem, 300)}", room.width - 2, Role.WARN))
    health = trial.health
    if health is None or health.level_dbfs is None:
        return [row(Run(" no sound yet", Role.LABEL))]
    cells = max(room.width - 14, 4)
    full = round(cells * min(max(1 - health.level_dbfs / BAR_LOW_DBFS, 0.0), 1.0))
    role = Role.BAD if health.clipped else Role.WARN if health.advice else Role.GOOD
    bar = row(
        Run(f" {health.level_dbfs:5.1f}", Role.NUMBER),
        Run(" dBFS ", Role.LABEL),
        Run(room.glyphs.full * full, role),
        Run(room.glyphs.idle * (cells - full), Role.RULE),
    )
    if health.advice:
        return [bar, *_padded(wrapped(f"! {health.advice}", room.width - 2, Role.WARN))]
    return [bar, row(Run(" fit to measure", Role.GOOD))]


def _answer(form: Form, trial: Trial, room: Room) -> list[Row]:
    width = room.width - 2
    if form.values["port"] == NO_PORT:
        return [row(Run(" no serial port chosen", Role.LABEL))]
    if trial.sure:
        words = [f"Caution: {SERIAL_LINES_IN_SHORT}", FRAMES]
        rows = [line for text in words for line in wrapped(text, width, Role.WARN)]
        keys = row(Run("t", Role.KEY), Run(" sends it once  ", Role.LABEL), Run("Esc", Role.KEY))
        return _padded([*rows, row(*keys, Run(" does not", Role.LABEL))])
    if trial.asking:
        return [row(Run(" asked; waiting for the reply", Role.LABEL))]
    if trial.answer is None:
        return _padded([row(Run("t", Role.KEY), Run(" sends the request once", Role.LABEL))])
    return _padded(_told(trial.answer, width))


def _told(answer: Answer, width: int) -> list[Row]:
    """A reply as hex and as text, with its timing."""
    if answer.trouble and not answer.reply:
        return wrapped(f"! {plain_text(answer.trouble, 300)}", width, Role.BAD)
    shown = answer.reply.decode("latin-1").encode("unicode_escape").decode("ascii")
    count = f"{len(answer.reply)} byte{'s' if len(answer.reply) != 1 else ''}"
    after = "" if answer.reply_ms is None else f" after {answer.reply_ms:.1f} ms"
    rows = [
        row(Run(f"{count}{after}", Role.GOOD)),
        *wrapped(answer.reply.hex(" "), width, Role.FROM_RADIO),
        *wrapped(shown, width, Role.TEXT),
    ]
    if answer.trouble:
        rows += wrapped(f"! {plain_text(answer.trouble, 300)}", width, Role.WARN)
    return rows


def draw_keys(room: Room, *, typing: bool) -> Row:
    """The keys that work now."""
    if typing:
        return row(
            Run(" Enter ", Role.KEY),
            Run("takes it  ", Role.LABEL),
            Run("Esc ", Role.KEY),
            Run("does not", Role.LABEL),
        )
    glyphs = room.glyphs
    pairs = (
        (glyphs.up_down, "line"),
        (f"{glyphs.left} {glyphs.right}", "step"),
        ("Enter", "type"),
        ("t", "try the port"),
        ("s", "keep it"),
        ("q", "leave"),
    )
    runs = [run for key, words in pairs for run in (Run(f" {key} ", Role.KEY), Run(f"{words} ", Role.LABEL))]
    return spread(row(*runs), BLANK, room.width)
