"""The help: every key with a line about it, then page by page what the numbers mean."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.screen import ModalScreen

from telltick.model.cautions import FIRST
from telltick.ui.explain import TOPICS, Topic
from telltick.ui.glyphs import Glyphs
from telltick.ui.keymap import ACTIONS, Group, Keymap
from telltick.ui.rows import BLANK, Role, Room, Row, Run, fit, row, rule, wrapped
from telltick.ui.widgets.edge import Edge
from telltick.ui.widgets.sheet import LEAD, Sheet, SheetPanel, Sight, plain

WIDTH, HEIGHT = 80, 24
MARGIN = 4  # rows of a large screen that stay free around it
KEYS = ""  # the first page
LEFT_WIDTH = 39  # columns of the keys at the left
NAME = 19  # columns for the name of what is explained
MOVES = {"up": -1, "down": 1}
# Actions that share a line: the first's name -> the second's, and words for both.
PAIRS = {
    "undo": ("redo", "withdraw a mark, redo it"),
    "redraw": ("rate", "redraw; pictures a second"),
    "slower": ("faster", "half, twice the speed"),
    "back": ("forward", "five seconds back, on"),
    "mark_before": ("mark_after", "to the mark before, after"),
    "beginning": ("end", "to the beginning, the end"),
    "cursor_down": ("cursor_up", "spectrum: cursor down, up"),
    "strip_less": ("strip_more", "strip: less, more time"),
    "older": ("newer", "journal: older, newer"),
    "quieter": ("louder", "quieter, louder"),
    "walk_skip": ("walk_back", "skip a task, back to one"),
}


class HelpPanel(SheetPanel):
    """The page."""

    raised = True
    DEFAULT_CSS = f"""
    HelpPanel {{ position: relative; width: {WIDTH}; height: {HEIGHT}; max-height: 100%; }}
    """


class HelpScreen(ModalScreen[None]):
    """Keys and explanations over whatever is open; any of the leaving keys closes it."""

    DEFAULT_CSS = """
    HelpScreen { align: center middle; background: transparent; }
    HelpScreen Horizontal { width: auto; height: auto; max-height: 100%; }
    """
    LEAVING: ClassVar = {"escape", "enter", "space", "q", "question_mark"}

    def __init__(self, keymap: Keymap, glyphs: Glyphs, topic: str = KEYS, *, replay: bool) -> None:
        """Prepare the help.

        Args:
            keymap: the keys.
            glyphs: the characters to draw with.
            topic: page to open at, one of `TOPICS`; the keys by default.
            replay: a saved session is shown.
        """
        super().__init__()
        self._keymap, self._glyphs, self._replay = keymap, glyphs, replay
        self._pages = [KEYS, *TOPICS]
        self._at = self._pages.index(topic) if topic in self._pages else 0
        self._panel = HelpPanel("help", glyphs)

    def compose(self) -> ComposeResult:
        """The page between its sides."""
        with Horizontal():
            yield Edge("left", self._glyphs)
            yield self._panel
            yield Edge("right", self._glyphs)

    def on_resize(self) -> None:
        """There are sides where there is something beside the page."""
        for edge in self.query(Edge):
            edge.display = self.size.width >= WIDTH + 2

    def on_mount(self) -> None:
        """Draw when there is a size."""
        self.call_after_refresh(self._draw)

    def on_key(self, event: events.Key) -> None:
        """Turn, scroll, leave."""
        event.stop()
        if event.key in self.LEAVING or event.character == self._keymap.key("help"):
            self.dismiss()
        elif event.key in ("right", "tab"):
            self._turn(1)
        elif event.key in ("left", "shift+tab"):
            self._turn(-1)
        elif event.key in MOVES:
            self._panel.move(MOVES[event.key])
        elif event.key in ("pagedown", "pageup"):
            self._panel.page(1 if event.key == "pagedown" else -1)

    def _turn(self, by: int) -> None:
        self._at = (self._at + by) % len(self._pages)
        self._draw()

    def _draw(self) -> None:
        name, room = self._pages[self._at], self._panel.room
        where = f"{self._at + 1} of {len(self._pages)}"
        turn = f"{self._glyphs.left} {self._glyphs.right} turn, Esc closes"
        legends = (row(Run(f"{where}: {turn}", Role.LABEL)), row(Run("Esc closes", Role.LABEL)))
        if name == KEYS:
            head, *lines = draw_help(self._keymap, room, replay=self._replay, legends=legends)
        else:
            inner = replace(room, width=room.width - 2)
            head = row(Run(" "), *rule(TOPICS[name].title, inner, *legends))
            lines = draw_topic(TOPICS[name], room)
        most = max(self.size.height - MARGIN, HEIGHT)
        self._panel.styles.height = min(max(len(lines) + 1, HEIGHT), most)
        self._panel.lay(Sheet(head=(head,), items=plain(lines)), Sight())


def draw_topic(topic: Topic, room: Room) -> list[Row]:
    """A page of explanations: what each thing means, how it is worked out, where that is published."""
    lines: list[Row] = []
    width = room.width - NAME - 5
    for term in topic.terms:
        text = wrapped(room.glyphs.clean(term.means, 500), width, Role.TEXT)
        if term.how:
            text += wrapped(room.glyphs.clean(term.how, 500), width, Role.LABEL)
        if term.source:
            text += wrapped(f"Source: {room.glyphs.clean(term.source)}", width, Role.LABEL)
        first, *more = text
        lines.append(row(Run(f"{term.name:<{NAME}} ", Role.NUMBER), *first))
        lines += [row(Run(" " * (NAME + 1)), *line) for line in more]
        if topic.title != "cautions":
            lines.append(BLANK)
    return lines


def draw_help(keymap: Keymap, room: Room, *, replay: bool, legends: tuple[Row, ...] = ()) -> list[Row]:
    """The page of keys: two columns, then how marks work."""
    inner, left_width, glyphs = WIDTH - LEAD, LEFT_WIDTH, room.glyphs
    left = _group(Group.CHANGES, keymap, glyphs) + _group(Group.WORDS, keymap, glyphs)
    left += _group(Group.PICTURES, keymap, glyphs)
    right = _group(Group.RESULTS, keymap, glyphs)
    right += [] if replay else _group(Group.WALKING, keymap, glyphs) + _group(Group.POLLING, keymap, glyphs)
    right += _group(Group.PLAYING, keymap, glyphs) if replay else []
    right += _group(Group.SCREEN, keymap, glyphs)
    if replay:
        at = next(k for k, line in enumerate(right) if "speed" in line[-1].text)
        right.insert(at + 1, _line("0-9", "to that tenth of all"))
    lines = []
    for k in range(max(len(left), len(right))):
        a = left[k] if k < len(left) else BLANK
        b = right[k] if k < len(right) else BLANK
        lines.append((*fit(a, left_width), *fit(b, inner - left_width)))
    title = legends or (row(Run("Esc closes", Role.LABEL)),)
    head = row(Run(" "), *rule("keys", replace(room, width=WIDTH - 2), *title))
    return [head, *lines, *_words(replay=replay)]


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
    return row(Run(f" {key:<10} ", Role.KEY), Run(words, Role.LABEL))


def _words(*, replay: bool) -> list[Row]:
    """How marks work, and where the rest is explained."""
    if replay:
        said = ("Marks made in replay are kept apart. Next pages: what each number means.", FIRST)
    else:
        said = ("From a change's key to Enter: hands-on time. Next pages: what numbers mean.", FIRST)
    return [row(Run(line)) for line in said]
