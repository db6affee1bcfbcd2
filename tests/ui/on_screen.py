"""What stands on a screen, read from the rows the toolkit composes."""

from __future__ import annotations

from collections.abc import Callable

from textual.app import App
from textual.pilot import Pilot


def lines_of(app: App) -> list[str]:
    """The rows of the screen as text, each as wide as the screen."""
    width, height = app.size
    strips = app.screen._compositor.render_strips(app.size)
    lines = [strip.text[:width].ljust(width) for strip in strips[:height]]
    return lines + [" " * width] * (height - len(lines))


def text_of_screen(app: App) -> str:
    return "\n".join(lines_of(app))


async def until(pilot: Pilot, holds: Callable[[], object], tries: int = 500) -> None:
    """Let the app run until something holds."""
    for _ in range(tries):
        if holds():
            return
        await pilot.pause(0.02)
    raise AssertionError(f"it never held; on screen:\n{text_of_screen(pilot.app)}")
