"""Large figures, to be read from across the room."""

from __future__ import annotations

from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import Role, Row, Run, row

# Three pixels wide, five high; a pixel is two cells wide and one high, so that it looks square.
_SHAPES = {
    "0": ("###", "# #", "# #", "# #", "###"),
    "1": (" # ", "## ", " # ", " # ", "###"),
    "2": ("###", "  #", "###", "#  ", "###"),
    "3": ("###", "  #", "###", "  #", "###"),
    "4": ("# #", "# #", "###", "  #", "  #"),
    "5": ("###", "#  ", "###", "  #", "###"),
    "6": ("###", "#  ", "###", "# #", "###"),
    "7": ("###", "  #", "  #", "  #", "  #"),
    "8": ("###", "# #", "###", "# #", "###"),
    "9": ("###", "# #", "###", "  #", "###"),
    "-": ("   ", "   ", "###", "   ", "   "),
    ".": (" ", " ", " ", " ", "#"),
    " ": ("   ", "   ", "   ", "   ", "   "),
}
PIXELS_HIGH = 5


def figures(text: str, role: Role, glyphs: Glyphs, scale: int = 1) -> list[Row]:
    """Text of digits, point, minus and blank as rows of blocks.

    Args:
        text: what to write.
        role: its colour.
        glyphs: the characters to draw with.
        scale: 1 for five rows, 2 for ten.
    """
    rows: list[Row] = []
    for y in range(PIXELS_HIGH):
        line = " ".join(_SHAPES[char][y] for char in text)
        wide = "".join((glyphs.full if pixel == "#" else " ") * 2 * scale for pixel in line)
        rows += [row(Run(wide, role))] * scale
    return rows


def figures_width(text: str, scale: int = 1) -> int:
    """Cells that `figures` takes for a text."""
    return 2 * scale * (sum(len(_SHAPES[char][0]) for char in text) + len(text) - 1)
