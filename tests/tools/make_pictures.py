"""Make the README's pictures from the shipped session: ``python -m tests.tools.make_pictures``."""

from __future__ import annotations

import asyncio
import re
from pathlib import Path

from telltick.engine.replay import SavedFeed
from telltick.model.clock import NS
from telltick.model.plan import Settings
from telltick.ui.app import TelltickApp
from tests.tools.make_recordings import NAME, RECORDINGS

PICTURES = {"screen.svg": ((120, 40), 47.0, None)}


def plain(svg: str) -> str:
    """The picture without links to the outside: the reader's own monospaced font serves."""
    svg = re.sub(r"@font-face \{.*?\}\s*", "", svg, flags=re.DOTALL)
    svg = re.sub(r"<!--.*?-->\s*", "", svg, flags=re.DOTALL)
    return re.sub(r'font-family: ?"?Fira Code"?(, monospace)?', "font-family: monospace", svg)


async def take(path: Path, size: tuple[int, int], at_s: float, theme: str | None) -> None:
    """Show the session paused at a time, wait until it has been measured, and save the screen."""
    feed = SavedFeed(RECORDINGS / NAME, clock_ns=lambda: 0)
    feed.toggle()
    feed.seek(int(at_s * NS))
    app = TelltickApp(feed, Settings(theme=theme), ascii_only=False, environ={})
    async with app.run_test(size=size) as pilot:
        for _ in range(100):
            await pilot.pause(0.05)
            snapshot = app.session.desk.snapshot
            if snapshot is not None and snapshot.window.excess_db is not None:
                break
        await pilot.pause(0.3)
        path.write_text(plain(app.export_screenshot(title="telltick replay")), encoding="utf-8")
    feed.close()


if __name__ == "__main__":
    for name, (size, at_s, theme) in PICTURES.items():
        asyncio.run(take(RECORDINGS / name, size, at_s, theme))
        print(RECORDINGS / name)
