"""The guided round beside the pictures: what to do now, how far measuring is, what came of it so far."""

from __future__ import annotations

from telltick.model.rounds import Walk, WalkPhase
from telltick.ui.glyphs import Glyphs
from telltick.ui.keymap import Keymap
from telltick.ui.rows import BLANK, Role, Room, Row, Run, row, rule, shorten, text_of, wrapped
from telltick.ui.widgets.panel import Panel

BAR_CELLS = 16


class WalkPanel(Panel):
    """Stands where the journal is while a round is walked."""

    def __init__(self, keymap: Keymap, glyphs: Glyphs) -> None:
        super().__init__("walk", glyphs)
        self._keymap = keymap
        self._walk: Walk | None = None

    def follow(self, walk: Walk | None) -> None:
        """Show where the round stands."""
        self._walk = walk
        self.redraw()

    def redraw(self) -> None:
        """Draw what is at hand."""
        self.put([] if self._walk is None else draw_walk(self._walk, self._keymap, self.room))


def draw_walk(walk: Walk, keymap: Keymap, room: Room) -> list[Row]:
    """The panel's rows: the task, its progress, the keys, then what came of the tasks before.

    When there is little room, results and cautions give way first, then the task's words to its progress.
    """
    title = _title(walk, room)
    if walk.task is None:
        return [title, *_results(walk, room, room.height - 2), _keys(walk, keymap, room.width)]
    body = _task(walk, room, room.height - 2)
    keys = _keys(walk, keymap, room.width)
    spare = room.height - 2 - len(body)
    caution = _caution(walk, room.width - 2, max(spare, 0))
    return [title, *body, keys, *caution, *_results(walk, room, spare - len(caution))]


def _title(walk: Walk, room: Room) -> Row:
    where = f"{min(walk.number, walk.count)} of {walk.count}" if walk.task is not None else "done"
    role = {WalkPhase.YOURS: Role.KEY, WalkPhase.HANDS_ON: Role.HANDS}.get(walk.phase, Role.LABEL)
    title = room.glyphs.clean(walk.title, 40)
    return rule(f"round: {title}", room, row(Run(f"{where}, {walk.phase}", role)), row(Run(where, role)))


def _task(walk: Walk, room: Room, lines: int) -> list[Row]:
    """What to do, and how far it is, in so many lines at most."""
    task = walk.task
    assert task is not None
    width = room.width - 2
    say = wrapped(room.glyphs.clean(task.say, 400), width, Role.TEXT)
    far: list[Row] = []
    if walk.phase is WalkPhase.YOURS and walk.value:
        proposed = f"{task.factor}: {room.glyphs.clean(walk.value, 40)}"
        far.append(row(Run(shorten(proposed, width), Role.NUMBER)))
    if walk.phase is WalkPhase.MEASURING:
        far.append(row(*_bar(walk, room.glyphs)))
    if walk.phase is not WalkPhase.YOURS or walk.progress != task.say:
        far += wrapped(room.glyphs.clean(walk.progress, 200), width, Role.LABEL)
    told = say[: max(lines - len(far), 0)]
    return [row(Run(" "), *line) for line in (*told, *far)][: max(lines, 0)]


def _caution(walk: Walk, width: int, lines: int) -> list[Row]:
    """The caution; two dots where it goes on: the prompt of the change has all of it."""
    if not walk.caution:
        return []
    told = wrapped(f"Caution: {walk.caution}", width, Role.WARN)
    if 0 < lines < len(told):
        told[lines - 1] = row(Run(shorten(f"{text_of(told[lines - 1])} ..", width), Role.WARN))
    return [row(Run(" "), *line) for line in told[:lines]]


def _bar(walk: Walk, glyphs: Glyphs) -> Row:
    """How far measuring is; only whole cells, so that it moves seldom."""
    done = round(min(max(walk.share, 0.0), 1.0) * BAR_CELLS)
    left = "" if walk.seconds_left is None else f"  about {max(walk.seconds_left, 0):.0f} s more"
    return row(
        Run(glyphs.full * done, Role.GOOD),
        Run(glyphs.rule * (BAR_CELLS - done), Role.RULE),
        Run(left, Role.LABEL),
    )


def _keys(walk: Walk, keymap: Keymap, width: int) -> Row:
    """The keys that work now."""
    if walk.phase is WalkPhase.DONE:
        return row(Run(f" {keymap.shown('walk_end')} ", Role.KEY), Run("closes this", Role.LABEL))
    keys = []
    if walk.phase is WalkPhase.YOURS and walk.task is not None and walk.task.factor:
        keys += [
            Run(f" {keymap.shown('walk')} ", Role.KEY),
            Run("begin, then swap " if width >= 60 else "begin ", Role.LABEL),
        ]
    for name, words in (("walk_skip", "skip"), ("walk_back", "back"), ("walk_end", "leave")):
        keys += [Run(f" {keymap.shown(name)} ", Role.KEY), Run(f"{words} ", Role.LABEL)]
    return row(*keys)


def _results(walk: Walk, room: Room, lines: int) -> list[Row]:
    """What came of the tasks that are over, newest first."""
    rows: list[Row] = []
    for result in reversed(walk.results):
        task = result.task
        what = {"measure": "baseline", "trial": "coin trial", "polling": f"polling {task.value}"}.get(
            task.do, task.factor + (" back" if task.do == "return" else f": {task.value}")
        )
        words = room.glyphs.clean(f"{what}  {result.words}", 200).replace("+-", room.glyphs.within)
        lead = Run(" - " if result.skipped else f" {room.glyphs.here} ", Role.LABEL)
        rows.append(
            row(lead, Run(shorten(words, room.width - 4), Role.LABEL if result.skipped else Role.TEXT))
        )
    return [BLANK, *rows][: max(lines, 0)] if rows and lines > 2 else rows[: max(lines, 0)]
