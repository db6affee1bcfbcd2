"""The list of commands: every action, found by typing a part of its words."""

from __future__ import annotations

from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.containers import Container, Horizontal
from textual.screen import ModalScreen
from textual.widgets import Input

from telltick.ui.glyphs import Glyphs
from telltick.ui.keymap import ACTIONS, Action, Keymap
from telltick.ui.rows import Role, Row, Run, row, rule, shorten
from telltick.ui.widgets.edge import Edge
from telltick.ui.widgets.panel import Panel
from telltick.ui.widgets.prompt import AnswerInput, PromptRows
from telltick.ui.widgets.sheet import out_of_sight

WIDTH, HEIGHT = 60, 20
LIST_HEIGHT = HEIGHT - 3


class CommandRows(Panel):
    """The actions that match."""

    raised = True
    DEFAULT_CSS = f"""
    CommandRows {{ position: relative; width: 100%; height: {LIST_HEIGHT}; }}
    """


class CommandScreen(ModalScreen[Action | None]):
    """Choose an action."""

    DEFAULT_CSS = f"""
    CommandScreen {{ align: center middle; background: transparent; }}
    CommandScreen Container {{ width: {WIDTH}; height: {HEIGHT}; background: $surface; }}
    CommandScreen #sided {{ width: {WIDTH + 2}; height: {HEIGHT}; }}
    CommandScreen #typing {{ height: 1; }}
    CommandScreen #find {{ width: 7; }}
    """
    BINDINGS: ClassVar = [
        ("escape", "leave", ""),
        ("down", "move(1)", ""),
        ("up", "move(-1)", ""),
        ("pagedown", f"move({LIST_HEIGHT})", ""),
        ("pageup", f"move(-{LIST_HEIGHT})", ""),
    ]

    def __init__(self, keymap: Keymap, glyphs: Glyphs, *, replay: bool) -> None:
        super().__init__()
        self._keymap = keymap
        self._glyphs = glyphs
        self._all = [a for a in ACTIONS if a.name != "commands" and (a.replay if replay else a.live)]
        self._found = list(self._all)
        self._at = 0

    def compose(self) -> ComposeResult:
        """Title, line to type in, list."""
        with Horizontal(id="sided"):
            yield Edge("left", self._glyphs)
            with Container():
                yield PromptRows("commands-title", self._glyphs)
                with Horizontal(id="typing"):
                    yield PromptRows("find", self._glyphs)
                    yield AnswerInput(ascii_only=self._glyphs.ascii, offering=False)
                yield PromptRows("commands-gap", self._glyphs)
                yield CommandRows("commands", self._glyphs)
            yield Edge("right", self._glyphs)

    def on_mount(self) -> None:
        """Ready to type."""
        self.query_one(AnswerInput).focus()
        self.call_after_refresh(self._redraw)

    @on(Input.Changed)
    def _narrow(self, event: Input.Changed) -> None:
        event.stop()
        self._found = [action for action in self._all if matches(action, event.value, self._keymap)]
        self._at = 0
        self._redraw()

    @on(Input.Submitted)
    def _choose(self, event: Input.Submitted) -> None:
        event.stop()
        if self._found:
            self.dismiss(self._found[self._at])

    @on(AnswerInput.Left)
    def _left(self, event: AnswerInput.Left) -> None:
        event.stop()
        self.dismiss(None)

    def action_leave(self) -> None:
        """Choose nothing."""
        self.dismiss(None)

    def action_move(self, by: int) -> None:
        """Move up or down the list."""
        self._at = min(max(self._at + by, 0), max(len(self._found) - 1, 0))
        self._redraw()

    def _redraw(self) -> None:
        title = self.query_one("#commands-title", PromptRows)
        title.put([rule("commands", title.room, row(Run("Enter does it, Esc closes", Role.LABEL)))])
        self.query_one("#find", PromptRows).put([row(Run(" find: ", Role.LABEL))])
        rows = self.query_one(CommandRows)
        rows.put(draw_commands(self._found, self._at, self._keymap, rows.size.width, self._glyphs))


def matches(action: Action, typed: str, keymap: Keymap) -> bool:
    """Every typed word is part of the action's words, or the whole is its key."""
    words = f"{action.name} {action.label} {action.help} {action.group}".lower()
    return typed == keymap.key(action.name) or all(word in words for word in typed.lower().split())


def draw_commands(found: list[Action], at: int, keymap: Keymap, width: int, glyphs: Glyphs) -> list[Row]:
    """The list's rows around the chosen one."""
    if not found:
        return [row(Run("   nothing of that name", Role.LABEL))]
    room = LIST_HEIGHT if len(found) <= LIST_HEIGHT else LIST_HEIGHT - 1
    first = min(max(at - room // 2, 0), max(len(found) - room, 0))
    rows: list[Row] = []
    for k, action in enumerate(found[first : first + room], first):
        chosen = k == at
        lead = Run(f" {glyphs.here if chosen else ' '} ", Role.KEY)
        key = Run(f"{keymap.shown(action.name):<7}", Role.KEY)
        words = shorten(action.help, max(width - 12, 0))
        rows.append(row(lead, key, Run(words, Role.NUMBER if chosen else Role.TEXT)))
    if room < LIST_HEIGHT:
        rows.append(out_of_sight(first, len(found) - first - room, lead=3))
    return rows
