"""Palettes: data files that give each role on screen its colour.

A palette file is TOML: ``title``, ``kind`` (dark, light or terminal) and a table ``[colours]`` with one entry
for the ground, one for raised panels and one per role. An entry is a colour, ``#rrggbb`` or one of the
terminal's own sixteen (``default``, ``red``, ``bright red`` ...), and may be followed by ``bold``, ``dim``,
``underline`` or ``reverse``. Kind ``terminal`` leaves the sixteen colours to the terminal.
"""

from __future__ import annotations

import difflib
import os
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from platformdirs import user_config_path
from rich.style import Style
from textual.theme import Theme

from telltick.assets import shipped
from telltick.model.errors import BadInputError
from telltick.ui.rows import Role

NIGHT, SIXTEEN, PLAIN = "night", "sixteen", "plain"
KINDS = ("dark", "light", "terminal")
GROUNDS = ("ground", "panel")
NAMED_ROLES = tuple(role for role in Role if role is not Role.FLOOR_IN_RISE)
ATTRIBUTES = ("bold", "dim", "underline", "reverse")
_BASIC = ("black", "red", "green", "yellow", "blue", "magenta", "cyan", "white")
TERMINAL_COLOURS = ("default", *_BASIC, *(f"bright {name}" for name in _BASIC))
# The toolkit's style sheets ask a terminal theme for these two; it derives them for the others.
_TERMINAL_VARIABLES = {"ansi-background": "ansi_default", "ansi-foreground": "ansi_default"}
_HEX = re.compile(r"#[0-9a-f]{6}")
_LARGEST = 100_000  # bytes; a palette file is a page


@dataclass(frozen=True)
class Ink:
    """A colour and how it is written.

    Attributes:
        colour: ``#rrggbb`` or one of `TERMINAL_COLOURS`.
        attributes: any of `ATTRIBUTES`.
    """

    colour: str
    attributes: tuple[str, ...] = ()

    @classmethod
    def parse(cls, text: str) -> Ink:
        """Read an entry of a palette file.

        Raises:
            ValueError: it is not a colour with attributes.
        """
        words = text.strip().lower().split()
        attributes = tuple(word for word in words if word in ATTRIBUTES)
        colour = " ".join(word for word in words if word not in ATTRIBUTES)
        if not _HEX.fullmatch(colour) and colour not in TERMINAL_COLOURS:
            raise ValueError(
                f"{text!r} is not a colour; write #rrggbb or a terminal colour such as red or bright red"
            )
        return cls(colour, attributes)

    @property
    def for_rich(self) -> str:
        """The colour's name in the rendering library."""
        return self.colour.replace(" ", "_")

    @property
    def for_css(self) -> str:
        """The colour's name in style sheets."""
        return self.colour if self.colour.startswith("#") else f"ansi_{self.for_rich}"


@dataclass(frozen=True)
class Palette:
    """Colours for everything on screen.

    Attributes:
        name: the file's name without its ending.
        title: one line about it.
        kind: dark, light or terminal.
        ground: the background.
        panel: the background of prompts and help.
        inks: one per role.
        path: its file.
    """

    name: str
    title: str
    kind: str
    ground: Ink
    panel: Ink
    inks: Mapping[Role, Ink]
    path: Path | None = None

    def styles(self, *, raised: bool = False) -> dict[Role, Style]:
        """Styles of the roles on the ground, or on a raised panel."""
        ground = self.panel if raised else self.ground
        styles = {role: _style(ink, ground) for role, ink in self.inks.items()}
        styles[Role.FLOOR_IN_RISE] = _floor_in_rise(self.inks[Role.FLOOR], self.inks[Role.RISE])
        return styles

    def theme(self) -> Theme:
        """The palette as the toolkit knows it, for style sheets and stock widgets."""
        css = {role: ink.for_css for role, ink in self.inks.items()}
        return Theme(
            name=self.name,
            primary=css[Role.KEY],
            secondary=css[Role.LABEL],
            accent=css[Role.RISE],
            success=css[Role.GOOD],
            warning=css[Role.WARN],
            error=css[Role.BAD],
            foreground=css[Role.TEXT],
            background=self.ground.for_css,
            surface=self.panel.for_css,
            panel=self.panel.for_css,
            dark=self.kind != "light",
            ansi=self.kind == "terminal",
            variables={
                "number": css[Role.NUMBER],
                **(_TERMINAL_VARIABLES if self.kind == "terminal" else {}),
            },
        )


def _style(ink: Ink, ground: Ink) -> Style:
    return Style(
        color=ink.for_rich,
        bgcolor=ground.for_rich,
        bold="bold" in ink.attributes or None,
        dim="dim" in ink.attributes or None,
        underline="underline" in ink.attributes or None,
        reverse="reverse" in ink.attributes or None,
    )


def _floor_in_rise(floor: Ink, rise: Ink) -> Style:
    """The floor's line drawn into the block of a rise; without colours, left out of the block."""
    if rise.colour == "default":
        return Style(color=rise.for_rich, bgcolor=rise.for_rich, reverse=True, bold="bold" in rise.attributes)
    return Style(color=floor.for_rich, bgcolor=rise.for_rich)


def user_folder() -> Path:
    """Where an operator's own palettes lie; it need not exist."""
    return user_config_path("telltick", appauthor=False) / "themes"


def palette_files(folders: Sequence[Path] | None = None) -> dict[str, Path]:
    """Palette name -> file; a palette of the operator's replaces a shipped one of the same name."""
    files: dict[str, Path] = {}
    for folder in (shipped("themes"), user_folder()) if folders is None else folders:
        files |= {path.stem: path for path in sorted(folder.glob("*.toml"))}
    return files


def find_palette(name: str, folders: Sequence[Path] | None = None) -> Palette:
    """A palette by name, or by the path of its file.

    Raises:
        BadInputError: there is none of that name, or its file is faulty.
    """
    files = palette_files(folders)
    if name in files:
        return load_palette(files[name])
    if name.endswith(".toml") or os.sep in name:
        return load_palette(Path(name))
    raise BadInputError(f"there is no palette {name!r}; choose from {', '.join(sorted(files))}")


def load_palette(path: Path) -> Palette:
    """Read a palette file.

    Raises:
        BadInputError: it cannot be read, is not TOML, lacks a colour or holds something that is none; the
            message names file, line and key.
    """
    text = _text(path)
    try:
        table = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as why:
        raise BadInputError(f"{path} is not a palette: {why}") from why
    try:
        return _palette(path, table)
    except _FaultyEntryError as why:
        raise BadInputError(f"{path}{_line_of(text, why.key)}: {why}") from why


class _FaultyEntryError(Exception):
    """An entry of a palette file cannot be used."""

    def __init__(self, key: str, fault: str) -> None:
        """Say what is wrong.

        Args:
            key: dotted.
            fault: what is wrong, the key included.
        """
        super().__init__(fault)
        self.key = key


def _line_of(text: str, key: str) -> str:
    """``, line 7`` for a key that stands in a file; empty for one that does not."""
    last = re.escape(key.rpartition(".")[2])
    pattern = re.compile(rf"""\s*\[?\s*["']?{last}["']?\s*[=\]]""")
    numbers = (n for n, line in enumerate(text.splitlines(), 1) if pattern.match(line))
    number = next(numbers, None) if key else None
    return "" if number is None else f", line {number}"


def _palette(path: Path, table: Mapping[str, Any]) -> Palette:
    _refuse_unknown(table, ("title", "kind", "colours"))
    kind, colours = table.get("kind", "dark"), table.get("colours")
    if kind not in KINDS:
        raise _FaultyEntryError("kind", f"kind: must be {', '.join(KINDS)}, not {kind!r}")
    if not isinstance(colours, dict):
        raise _FaultyEntryError("colours", "it has no table [colours]")
    inks = _inks(colours)
    return Palette(
        name=path.stem,
        title=str(table.get("title", path.stem))[:80],
        kind=kind,
        ground=inks["ground"],
        panel=inks["panel"],
        inks={role: inks[role] for role in NAMED_ROLES},
        path=path,
    )


def choose_palette(
    wanted: str | None, environ: Mapping[str, str], folders: Sequence[Path] | None = None
) -> Palette:
    """The palette to start with.

    ``NO_COLOR`` (https://no-color.org: present and not empty) rules out colour whatever is wanted. Where
    nothing is wanted, terminals that know no more than sixteen colours get a palette drawn for them.

    Raises:
        BadInputError: the wanted palette cannot be had.
    """
    if environ.get("NO_COLOR"):
        return find_palette(PLAIN, folders)
    if wanted:
        return find_palette(wanted, folders)
    return find_palette(NIGHT if _many_colours(environ) else SIXTEEN, folders)


def _many_colours(environ: Mapping[str, str]) -> bool:
    term = environ.get("TERM", "").lower()
    if environ.get("COLORTERM", "").lower() in ("truecolor", "24bit"):
        return True
    return os.name == "nt" or any(word in term for word in ("256", "direct", "truecolor"))


def _text(path: Path) -> str:
    try:
        with path.open("rb") as file:
            content = file.read(_LARGEST + 1)
        if len(content) > _LARGEST:
            raise BadInputError(f"{path} is too large to be a palette")
        return content.decode("utf-8-sig").replace("\r\n", "\n")
    except OSError as why:
        raise BadInputError(f"{path}: this palette cannot be read ({why.strerror or why})") from why
    except UnicodeDecodeError as why:
        raise BadInputError(f"{path} is not a palette: {why}") from why


def _refuse_unknown(table: Mapping[str, Any], known: Sequence[str], prefix: str = "") -> None:
    for key in table:
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1)
            advice = f"did you mean {prefix}{near[0]}?" if near else f"it may hold {', '.join(known)}"
            raise _FaultyEntryError(key, f"there is no key {prefix}{key}; {advice}")


def _inks(colours: Mapping[str, Any]) -> dict[str, Ink]:
    known = (*GROUNDS, *NAMED_ROLES)
    _refuse_unknown(colours, known, "colours.")
    missing = [key for key in known if key not in colours]
    if missing:
        raise _FaultyEntryError("", f"colours.{missing[0]}: this colour is missing")
    inks: dict[str, Ink] = {}
    for key, value in colours.items():
        try:
            inks[key] = Ink.parse(str(value))
        except ValueError as why:
            raise _FaultyEntryError(f"colours.{key}", f"colours.{key}: {why}") from why
    return inks
