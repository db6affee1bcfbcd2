"""What stands on a screen, read from the picture the toolkit exports."""

from __future__ import annotations

import html
import re
from collections.abc import Callable

from textual.app import App
from textual.pilot import Pilot

CELL_WIDTH, LINE_HEIGHT = 12.2, 24.4  # of the exported picture, in its own units
_TEXT = re.compile(r'<text class="[^"]*-r\d+" x="([\d.]+)" y="([\d.]+)"[^>]*>(.*?)</text>', re.DOTALL)


def lines_of(app: App) -> list[str]:
    """The rows of the screen as text, each as wide as the screen."""
    width, height = app.size
    grid = [[" "] * width for _ in range(height)]
    for x, y, text in _TEXT.findall(app.export_screenshot()):
        row = round((float(y) - 20) / LINE_HEIGHT)
        column = round(float(x) / CELL_WIDTH)
        for offset, char in enumerate(html.unescape(text).replace("\xa0", " ").rstrip("\n")):
            if row < height and column + offset < width:
                grid[row][column + offset] = char
    return ["".join(cells) for cells in grid]


def text_of_screen(app: App) -> str:
    return "\n".join(lines_of(app))


async def until(pilot: Pilot, holds: Callable[[], object], tries: int = 200) -> None:
    """Let the app run until something holds."""
    for _ in range(tries):
        if holds():
            return
        await pilot.pause(0.02)
    raise AssertionError(f"it never held; on screen:\n{text_of_screen(pilot.app)}")
