"""The bottom line: the keys that matter most, as many as fit."""

from __future__ import annotations

from collections.abc import Sequence

from telltick.ui.glyphs import Glyphs
from telltick.ui.keymap import ACTIONS, Action, Group, Keymap
from telltick.ui.rows import Role, Room, Row, Run, row, width_of
from telltick.ui.widgets.panel import Panel

PAIRS = {  # the key of the second stands beside that of the first: what both do
    "slower": ("faster", "speed"),
    "back": ("forward", "5 s"),
    "mark_before": ("mark_after", "marks"),
    "beginning": ("end", "start, end"),
}


class KeyLine(Panel):
    """Keys and their words."""

    def __init__(self, keymap: Keymap, glyphs: Glyphs, *, replay: bool) -> None:
        super().__init__("footer", glyphs)
        self._keymap = keymap
        self._replay = replay

    def redraw(self) -> None:
        """Draw the keys."""
        self.put([draw_keys(self._keymap, self.room, replay=self._replay)])


class HintLine(Panel):
    """Keys of a page and their words."""

    def __init__(self, glyphs: Glyphs) -> None:
        super().__init__("hints", glyphs)
        self._hints: Sequence[tuple[str, str]] = ()

    def show(self, hints: Sequence[tuple[str, str]]) -> None:
        """Draw these keys, as many as fit."""
        self._hints = hints
        self.redraw()

    def redraw(self) -> None:
        """Draw the keys."""
        self.put([draw_hints(self._hints, self.size.width)])


def draw_hints(hints: Sequence[tuple[str, str]], width: int) -> Row:
    """Keys and words; when they are too many those before the last two go, from the end."""
    kept = list(hints)

    def line() -> Row:
        return row(Run(" "), *(run for key, words in kept for run in _hint(key, words)))

    while len(kept) > 2 and width_of(line()) > width + 2:
        del kept[-3]
    return line()


def _hint(key: str, words: str) -> tuple[Run, Run]:
    return Run(key, Role.KEY), Run(f" {words}  ", Role.LABEL)


def draw_keys(keymap: Keymap, room: Room, *, replay: bool) -> Row:
    """The line; when it is too long the highest ranks go first, the later among equals before the earlier."""
    arrows = {"left": room.glyphs.left, "right": room.glyphs.right}
    seconds = {second for second, _ in PAIRS.values()}
    wanted = [a for a in ACTIONS if a.rank < 9 and a.name not in seconds and (a.replay if replay else a.live)]
    if replay:
        wanted.sort(key=lambda a: a.live)  # what moves the playhead comes first

    def line(actions: list[Action]) -> Row:
        runs: list[Run] = [Run(" ")]
        for action in actions:
            key, words = keymap.shown(action.name, arrows=arrows), action.label
            if action.name in PAIRS:
                second, words = PAIRS[action.name]
                key = f"{key} {keymap.shown(second, arrows=arrows)}"
            runs += _hint(key, words)
        return row(*runs)

    while width_of(line(wanted)) > room.width + 2 and wanted:
        # Replay has many keys of its own: they go before the changes do not.
        dropped = max(range(len(wanted)), key=lambda k: (_rank(wanted[k], replay=replay), k))
        del wanted[dropped]
    return line(wanted)


def _rank(action: Action, *, replay: bool) -> int:
    """In replay the transport matters more than changes on a bench of the past."""
    elsewhere = action.live and action.group is not Group.RESULTS
    return action.rank + (2 if replay and elsewhere and action.rank else 0)
