"""The bottom line: the keys that matter most, as many as fit."""

from __future__ import annotations

from telltick.ui.glyphs import Glyphs
from telltick.ui.keymap import ACTIONS, Action, Keymap
from telltick.ui.rows import Role, Room, Row, Run, row, width_of
from telltick.ui.widgets.panel import Panel


class KeyLine(Panel):
    """Keys and their words."""

    def __init__(self, keymap: Keymap, glyphs: Glyphs, *, replay: bool) -> None:
        super().__init__("footer", glyphs)
        self._keymap = keymap
        self._replay = replay

    def redraw(self) -> None:
        """Draw the keys."""
        self.put([draw_keys(self._keymap, self.room, replay=self._replay)])


def draw_keys(keymap: Keymap, room: Room, *, replay: bool) -> Row:
    """The line; when it is too long the highest ranks go first, the later among equals before the earlier."""
    arrows = {"left": room.glyphs.left, "right": room.glyphs.right}
    wanted = [a for a in ACTIONS if a.rank < 9 and (a.replay if replay else a.live)]
    if replay:
        wanted.sort(key=lambda a: a.live)  # what moves the playhead comes first

    def line(actions: list[Action]) -> Row:
        runs: list[Run] = [Run(" ")]
        for action in actions:
            runs += [
                Run(keymap.shown(action.name, arrows=arrows), Role.KEY),
                Run(f" {action.label}  ", Role.LABEL),
            ]
        return row(*runs)

    while width_of(line(wanted)) > room.width + 2 and wanted:
        # Replay has many keys of its own: they go before the changes do not.
        dropped = max(range(len(wanted)), key=lambda k: (_rank(wanted[k], replay=replay), k))
        del wanted[dropped]
    return line(wanted)


def _rank(action: Action, *, replay: bool) -> int:
    """In replay the transport matters more than changes on a bench of the past."""
    return action.rank + (2 if replay and action.live and action.rank else 0)
