"""The help: every key with a line about it."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

from textual.app import ComposeResult
from textual.screen import ModalScreen

from telltick.model.cautions import FIRST
from telltick.ui.glyphs import Glyphs
from telltick.ui.keymap import ACTIONS, Group, Keymap
from telltick.ui.rows import BLANK, Role, Room, Row, Run, fit, row, rule
from telltick.ui.widgets.panel import Panel

WIDTH, HEIGHT = 80, 24
# Actions that share a line: the first's name -> the second's, and words for both.
PAIRS = {
    "slower": ("faster", "half, twice the speed"),
    "back": ("forward", "five seconds back, on"),
    "mark_before": ("mark_after", "to the mark before, after"),
    "beginning": ("end", "to the beginning, the end"),
    "older": ("newer", "journal: older, newer"),
}


class HelpRows(Panel):
    """The page."""

    raised = True
    DEFAULT_CSS = f"""
    HelpRows {{ position: relative; width: {WIDTH}; height: {HEIGHT}; }}
    """

    def __init__(self, keymap: Keymap, glyphs: Glyphs, *, replay: bool) -> None:
        super().__init__("help", glyphs)
        self._keymap = keymap
        self._replay = replay

    def redraw(self) -> None:
        """Draw the page."""
        self.put(draw_help(self._keymap, self.room, replay=self._replay))


class HelpScreen(ModalScreen[None]):
    """Keys, over the session; any of the leaving keys closes it."""

    DEFAULT_CSS = """
    HelpScreen { align: center middle; background: transparent; }
    """
    BINDINGS: ClassVar = [(key, "close", "") for key in ("escape", "enter", "space", "q", "question_mark")]

    def __init__(self, keymap: Keymap, glyphs: Glyphs, *, replay: bool) -> None:
        super().__init__()
        self._rows = HelpRows(keymap, glyphs, replay=replay)

    def compose(self) -> ComposeResult:
        """The page alone."""
        yield self._rows

    def action_close(self) -> None:
        """Back to the session."""
        self.dismiss()


def draw_help(keymap: Keymap, room: Room, *, replay: bool) -> list[Row]:
    """The page's rows: two columns of keys, then how marks work."""
    inner, glyphs = WIDTH - 2, room.glyphs
    left_width = inner // 2
    left = _group(Group.CHANGES, keymap, glyphs) + _group(Group.WORDS, keymap, glyphs)
    right = [] if replay else _group(Group.POLLING, keymap, glyphs)
    right += _group(Group.PLAYING, keymap, glyphs) if replay else []
    right += _group(Group.SCREEN, keymap, glyphs)
    if replay:
        right.insert(5, _line("0-9", "to that tenth of the session"))
    lines = [rule("keys", replace(room, width=inner), row(Run("Esc closes", Role.LABEL)))]
    for k in range(max(len(left), len(right))):
        a = left[k] if k < len(left) else BLANK
        b = right[k] if k < len(right) else BLANK
        lines.append((*fit(a, left_width), *b))
    lines += _words(glyphs, replay=replay)
    return [row(Run(" "), *line) for line in lines]


def _group(group: Group, keymap: Keymap, glyphs: Glyphs) -> list[Row]:
    arrows = {"left": glyphs.left, "right": glyphs.right}
    lines = [row(Run(group.value.lower(), Role.TEXT))]
    seconds = {second for second, _ in PAIRS.values()}
    for action in ACTIONS:
        if action.group is not group or action.name in seconds:
            continue
        key, words = keymap.shown(action.name, arrows=arrows), action.help
        if action.name in PAIRS:
            second, words = PAIRS[action.name]
            key = f"{key} {keymap.shown(second, arrows=arrows)}"
        lines.append(_line(key, words))
    return lines


def _line(key: str, words: str) -> Row:
    return row(Run(f" {key:<9} ", Role.KEY), Run(words, Role.LABEL))


_NUMBERS = (
    ("excess", "10 log10((I + N) / N): how far the noise rises while bytes flow"),
    ("N, I", "noise floor, and what is added while bytes flow; dBFS as in AES17"),
    ("95 %", "the true value lies in this interval in 95 of 100 such measurements"),
    ("x on Hz", "a steady tone: shown, but left out of the measurement"),
)


def _words(glyphs: Glyphs, *, replay: bool) -> list[Row]:
    """What the numbers mean, and how marks work."""
    numbers = [row(Run(f" {name:<9}", Role.NUMBER), Run(words, Role.LABEL)) for name, words in _NUMBERS]
    numbers[-1] = row(Run(f" {glyphs.tone} on Hz  ", Role.NUMBER), Run(_NUMBERS[-1][1], Role.LABEL))
    if replay:
        marks = "Marks made in replay are late notes, kept apart from those made live."
    else:
        marks = "From a change's key to its Enter is hands-on time, left out of the measurement."
    return [row(Run("what the numbers say")), *numbers, row(Run(marks)), row(Run(FIRST))]
