"""Every action of the screen: its name, its key, and the words about it in footer, command list and help."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from telltick.model.errors import BadInputError


class Group(StrEnum):
    """Where an action stands in the help."""

    CHANGES = "Something changes"
    WORDS = "Marks and words"
    RESULTS = "Results"
    WALKING = "Guided round"
    POLLING = "Polling"
    PLAYING = "Replay"
    PICTURES = "Pictures"
    SCREEN = "Screen"


@dataclass(frozen=True)
class Action:
    """Something a key does.

    Attributes:
        name: how the settings file calls it.
        key: the shipped key, as it is typed or as `NAMED_KEYS` has it.
        label: one word for the footer.
        help: a line for help and command list.
        call: the screen's method and its argument.
        group: where it stands in the help.
        rank: footers that are short of room keep the low ranks; 0 is never dropped, 9 never shown.
        live: it works while recording.
        replay: it works in replay.
    """

    name: str
    key: str
    label: str
    help: str
    call: str
    group: Group
    rank: int = 5
    live: bool = True
    replay: bool = True


def _change(name: str, key: str, label: str, rank: int, *, factor: str, text: str) -> Action:
    return Action(name, key, label, text, f"change('{factor}')", Group.CHANGES, rank)


ACTIONS: tuple[Action, ...] = (
    _change("antenna", "a", "antenna", 1, factor="antenna", text="antenna or dummy load"),
    _change("cable", "c", "cable", 1, factor="cable", text="a cable is swapped"),
    _change("gain", "g", "gain", 1, factor="rf gain", text="RF gain"),
    _change("choke", "k", "choke", 2, factor="choke", text="a choke goes on or off"),
    _change("supply", "v", "volts", 3, factor="supply", text="the supply (volts)"),
    _change("computer", "o", "computer", 4, factor="computer", text="computer or its supply"),
    _change("frequency", "f", "freq", 4, factor="frequency", text="the receiver's frequency"),
    _change("monitor_level", "l", "level", 4, factor="monitor level", text="the monitor (audio) level"),
    _change("baud", "b", "baud", 3, factor="baud", text="baud; our poller follows"),
    _change("interval", "i", "interval", 3, factor="poll interval", text="poll interval, likewise"),
    Action("mark", "x", "mark", "plain mark at this moment", "mark", Group.WORDS, 2),
    Action("note", "n", "note", "write a note", "note", Group.WORDS, 2),
    Action("undo", "u", "undo", "withdraw your newest mark", "undo", Group.WORDS, 1),
    Action("redo", "U", "redo", "the mark withdrawn last stands again", "redo", Group.WORDS, 9),
    Action("results", "s", "so far", "steps, changes, findings", "results", Group.RESULTS, 1),
    Action("portrait", "m", "mean", "mean poll: what carries it", "portrait", Group.RESULTS, 3),
    Action("trial", "d", "draw lots", "coin trial: start, watch", "trial", Group.RESULTS, 2),
    Action("lock", "L", "lock", "latency: lock, look again", "lock", Group.RESULTS, 9),
    Action("walk", "w", "walk", "guided round: next task", "walk", Group.WALKING, 1, replay=False),
    Action("walk_skip", ">", "skip", "leave the task out", "walk_skip", Group.WALKING, 9, replay=False),
    Action("walk_back", "<", "back", "back to the task before", "walk_back", Group.WALKING, 9, replay=False),
    Action("walk_end", "W", "end", "leave the round", "walk_end", Group.WALKING, 9, replay=False),
    Action("polling", "p", "poll", "start or stop polling", "polling", Group.POLLING, 1, replay=False),
    Action(
        "request",
        "R",
        "request",
        "request: answered or not",
        "change('request')",
        Group.POLLING,
        6,
        replay=False,
    ),
    Action("resume", "y", "go on", "go on after a full disk", "resume", Group.POLLING, 9, replay=False),
    Action("play", "space", "play", "play or pause", "play", Group.PLAYING, 0, live=False),
    Action("slower", "[", "slower", "half the speed", "speed(-1)", Group.PLAYING, 1, live=False),
    Action("faster", "]", "faster", "twice the speed", "speed(1)", Group.PLAYING, 1, live=False),
    Action("back", "left", "-5s", "five seconds back", "seek(-5)", Group.PLAYING, 2, live=False),
    Action("forward", "right", "+5s", "five seconds on", "seek(5)", Group.PLAYING, 2, live=False),
    Action("mark_before", ",", "mark-", "to the mark before", "seek_mark(-1)", Group.PLAYING, 2, live=False),
    Action("mark_after", ".", "mark+", "to the next mark", "seek_mark(1)", Group.PLAYING, 2, live=False),
    Action("beginning", "home", "start", "to the beginning", "seek_part(0)", Group.PLAYING, 5, live=False),
    Action("end", "end", "end", "to the end", "seek_part(10)", Group.PLAYING, 5, live=False),
    Action("hear", "e", "hear", "hear: all, in turns, alone", "hear", Group.PLAYING, 1, live=False),
    Action("quieter", "-", "quieter", "quieter", "volume(-1)", Group.PLAYING, 9, live=False),
    Action("louder", "+", "louder", "louder", "volume(1)", Group.PLAYING, 9, live=False),
    Action("cursor_down", "(", "down", "spectrum: cursor down", "cursor(-1)", Group.PICTURES, 9),
    Action("cursor_up", ")", "up", "spectrum: cursor up", "cursor(1)", Group.PICTURES, 9),
    Action("cursor", "C", "cursor", "spectrum: cursor on, off", "cursor_off", Group.PICTURES, 9),
    Action("span", "z", "zoom", "spectrum: all, band, close", "span", Group.PICTURES, 6),
    Action("hold", "F", "freeze", "spectrum: freeze, go on", "hold", Group.PICTURES, 9),
    Action("strip_less", "{", "less", "strip: less time", "strip_scale(-1)", Group.PICTURES, 9),
    Action("strip_more", "}", "more", "strip: more time", "strip_scale(1)", Group.PICTURES, 9),
    Action("older", "pageup", "older", "older journal entries", "journal(1)", Group.SCREEN, 9),
    Action("newer", "pagedown", "newer", "newer journal entries", "journal(-1)", Group.SCREEN, 9),
    Action("theme", "t", "theme", "next palette", "theme", Group.SCREEN, 5),
    Action("commands", "ctrl+p", "commands", "list of commands", "commands", Group.SCREEN, 9),
    Action("redraw", "ctrl+l", "redraw", "draw the screen anew", "redraw", Group.SCREEN, 9),
    Action("rate", "r", "rate", "pictures per second", "rate", Group.SCREEN, 9),
    Action("help", "?", "help", "this page", "help", Group.SCREEN, 0),
    Action("quit", "q", "quit", "leave", "quit", Group.SCREEN, 0),
)
BY_NAME: Mapping[str, Action] = {action.name: action for action in ACTIONS}

JUMP_KEYS = "0123456789"  # in replay: to the start, one tenth ... nine tenths of the session
RESERVED = {"escape", "enter", "tab", "shift+tab", "ctrl+c", "ctrl+q"}

_NAMES = "space left right up down home end pageup pagedown insert delete backspace"
NAMED_KEYS = {*_NAMES.split(), *(f"f{n}" for n in range(1, 13))}
_MODIFIED = re.compile(r"(ctrl|shift|alt)\+(\S+)")
_SHOWN = {"pageup": "PgUp", "pagedown": "PgDn", "space": "Space", "home": "Home", "end": "End"}


class Keymap:
    """Which key each action has, the operator's wishes included."""

    def __init__(self, wishes: Mapping[str, str] | None = None) -> None:
        """Lay the operator's keys over the shipped ones.

        Args:
            wishes: action name -> key, from the settings file.

        Raises:
            BadInputError: an action that does not exist, a key that cannot be, or two actions on one key.
        """
        self._keys = {action.name: action.key for action in ACTIONS}
        for name, key in (wishes or {}).items():
            if name not in BY_NAME:
                near = difflib.get_close_matches(name, BY_NAME, n=1)
                advice = f"did you mean {near[0]}?" if near else f"actions are {', '.join(BY_NAME)}"
                raise BadInputError(f"settings: there is no action keys.{name}; {advice}")
            self._keys[name] = _checked_key(name, key)
        self._refuse_conflicts()

    def _refuse_conflicts(self) -> None:
        taken: dict[str, str] = dict.fromkeys(JUMP_KEYS, "jumping in replay")
        for name, key in self._keys.items():
            if key in taken:
                raise BadInputError(
                    f"settings: keys.{name}: {key!r} is already the key of {taken[key]}; give one another key"
                )
            taken[key] = name

    def key(self, name: str) -> str:
        """The key of an action, as it is typed."""
        return self._keys[name]

    def bindings(self) -> dict[str, str]:
        """Action name -> key as the toolkit writes it."""
        return {name: toolkit_key(key) for name, key in self._keys.items()}

    def shown(self, name: str, *, arrows: Mapping[str, str] | None = None) -> str:
        """The key of an action as a reader sees it."""
        key = self._keys[name]
        if key.startswith("ctrl+"):
            return f"^{key[5:].upper()}"
        return (arrows or {}).get(key) or _SHOWN.get(key, key)

    def action_on(self, *pressed: str | None) -> Action | None:
        """The action whose key was pressed; None when there is none.

        Args:
            pressed: names of one key: as the toolkit has it, as a character.
        """
        return next((action for action in ACTIONS if self._keys[action.name] in pressed), None)

    def for_factor(self, factor: str) -> str:
        """The key that changes a factor; empty when it has none."""
        name = next((a.name for a in ACTIONS if a.call == f"change('{factor}')"), "")
        return self._keys[name] if name else ""


def toolkit_key(key: str) -> str:
    """A key as the toolkit writes it: there, a comma stands between two keys."""
    return key[:-1] + "comma" if key.endswith(",") else key


def _checked_key(name: str, key: str) -> str:
    """A key from the settings file in the form used here."""
    given = key if len(key) == 1 else key.strip().lower()
    if given in RESERVED:
        raise BadInputError(f"settings: keys.{name}: {key!r} is kept for leaving prompts and the program")
    modified = _MODIFIED.fullmatch(given)
    plain = modified[2] if modified else given
    known = (len(plain) == 1 and plain.isprintable() and not plain.isspace()) or plain in NAMED_KEYS
    if not known:
        raise BadInputError(
            f"settings: keys.{name}: {key!r} is not a key; give one character, ctrl+ and a letter, or "
            "a named key such as space, home, f5"
        )
    return given
