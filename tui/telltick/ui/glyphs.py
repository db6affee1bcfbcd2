"""The characters the screen draws with: one set for UTF-8 terminals, one of pure ASCII."""

from __future__ import annotations

import os
import sys
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from telltick.model.text import plain_text


@dataclass(frozen=True)
class Glyphs:
    """One set of characters; every one is a single cell wide.

    Attributes:
        ascii: the set holds ASCII alone.
        rule: draws the lines panels are titled on.
        quiet: fills what is heard while no bytes flow.
        full: a full cell of what rises above it.
        steps: cells filled from the bottom to 1/8, 2/8 ... 7/8.
        surface: a thin line at the bottom of a cell: the noise floor.
        tick: a tick on a level axis; axis: the axis without one.
        base: the frequency axis; base_band: where it is measured; base_tick: a tick on it.
        tone: a column left out of the measurement; tooth: one where the character rate has a line.
        cursor: the line of a cursor; cursor_foot: its place on an axis.
        to_radio: a cell with bytes to the radio; from_radio: one with bytes from it.
        idle: a cell of a lane without bytes.
        head: where the sweep is now.
        track: the empty part of a bar; bar: its interval; bar_at: its value.
        zero: zero on a scale of differences; bound: the most that still counts as alike.
    dot: state lamps: on; ring: off.
        arrow: from an old value to a new one; here: points at a line; changed: the newest change.
        flag: points at the column a time label belongs to.
        up_down, left, right: names of keys.
        divide: between items on one line.
        within: plus or minus.
    """

    ascii: bool
    rule: str
    quiet: str
    full: str
    steps: str
    surface: str
    tick: str
    axis: str
    base: str
    base_band: str
    base_tick: str
    tone: str
    tooth: str
    cursor: str
    cursor_foot: str
    to_radio: str
    from_radio: str
    idle: str
    head: str
    track: str
    bar: str
    bar_at: str
    zero: str
    bound: str
    dot: str
    ring: str
    arrow: str
    here: str
    changed: str
    flag: str
    up_down: str
    left: str
    right: str
    divide: str
    within: str

    def clean(self, text: str, limit: int = 200) -> str:
        """Text from outside, fit for this set: one line, harmless, ASCII where the set is."""
        text = plain_text(text, limit)
        if not self.ascii or text.isascii():
            return text
        spread = unicodedata.normalize("NFKD", text)
        kept = (c for c in spread if not unicodedata.combining(c))
        return "".join(c if c.isascii() else "?" for c in kept)[:limit]


UNICODE = Glyphs(
    ascii=False,
    rule="─",
    quiet="░",
    full="█",
    steps="▁▂▃▄▅▆▇",
    surface="▁",
    tick="┤",
    axis="│",
    base="─",
    base_band="━",
    base_tick="┴",
    tone="×",
    tooth="▴",
    cursor="┊",
    cursor_foot="▲",
    to_radio="▀",
    from_radio="▄",
    idle="·",
    head="│",
    track="─",
    bar="▓",
    bar_at="█",
    zero="┼",
    bound="┆",
    dot="●",
    ring="○",
    arrow="→",
    here="▸",
    changed="◂",
    flag="╵",
    up_down="↑↓",
    left="←",
    right="→",
    divide="·",
    within="±",
)

ASCII = Glyphs(
    ascii=True,
    rule="-",
    quiet=":",
    full="#",
    steps="..--==#",
    surface="_",
    tick="+",
    axis="|",
    base="-",
    base_band="=",
    base_tick="+",
    tone="x",
    tooth="^",
    cursor=":",
    cursor_foot="A",
    to_radio="^",
    from_radio="v",
    idle=".",
    head="|",
    track="-",
    bar="=",
    bar_at="#",
    zero="+",
    bound=":",
    dot="*",
    ring="o",
    arrow="->",
    here=">",
    changed="<",
    flag="'",
    up_down="up/down",
    left="left",
    right="right",
    divide="|",
    within="+-",
)


def glyphs_for(*, ascii_only: bool) -> Glyphs:
    """The set to draw with."""
    return ASCII if ascii_only else UNICODE


def terminal_wants_ascii(environ: Mapping[str, str] | None = None) -> bool:
    """Whether the locale says that the terminal does not understand UTF-8.

    Python itself turns the C locale into ``C.UTF-8`` when it starts (PEP 538) and exports that as
    ``LC_CTYPE``, so the environment the process was born with is asked where the system keeps it.
    """
    if sys.platform == "win32":
        return (sys.stdout.encoding or "").lower().replace("-", "") != "utf8"
    environ = _birth_environ() if environ is None else environ
    chosen = next((environ[key] for key in ("LC_ALL", "LC_CTYPE", "LANG") if environ.get(key)), "")
    return "utf8" not in chosen.lower().replace("-", "")


def _birth_environ() -> Mapping[str, str]:
    try:
        block = Path("/proc/self/environ").read_bytes()
    except OSError:
        return os.environ
    pairs = (item.partition(b"=") for item in block.split(b"\0"))
    return {os.fsdecode(name): os.fsdecode(value) for name, _, value in pairs}
