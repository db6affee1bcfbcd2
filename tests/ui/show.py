"""Look at the screen: ``python -m tests.ui.show [live|quiet|replay] [--ascii] [--theme NAME]``.

With ``--picture FILE`` it draws one picture of ``--size WxH``, as text or SVG by the file's ending,
instead of taking the terminal.
"""

from __future__ import annotations

import argparse
import asyncio
from pathlib import Path

from telltick.model.plan import Settings
from telltick.ui.app import TelltickApp
from tests.ui.fake_feed import FakeFeed, FakeReplay, scripted_marks
from tests.ui.on_screen import text_of_screen
from tests.ui.results import trial


def feed_for(kind: str) -> FakeFeed:
    if kind == "replay":
        return FakeReplay()
    feed = FakeFeed(excess_db=6.2 if kind == "live" else 0.0, at_s=712.0)
    feed.marks = list(scripted_marks())
    feed.trial = trial() if kind == "live" else None
    return feed


async def picture(app: TelltickApp, size: tuple[int, int], keys: list[str], path: Path) -> None:
    async with app.run_test(size=size) as pilot:
        await pilot.pause(1.0)
        for key in keys:
            await pilot.press(key)
            await pilot.pause(0.5)
        text = text_of_screen(app) if path.suffix == ".txt" else app.export_screenshot()
        path.write_text(text, encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("kind", nargs="?", default="live", choices=("live", "quiet", "replay"))
    parser.add_argument("--ascii", action="store_true")
    parser.add_argument("--theme")
    parser.add_argument("--picture", type=Path)
    parser.add_argument("--size", default="120x40")
    parser.add_argument("--keys", default="", help="keys to press first, with blanks between them")
    args = parser.parse_args()
    app = TelltickApp(feed_for(args.kind), Settings(theme=args.theme), ascii_only=args.ascii)
    if args.picture is None:
        print(app.run())
        return
    width, height = (int(part) for part in args.size.split("x"))
    asyncio.run(picture(app, (width, height), args.keys.split(), args.picture))


if __name__ == "__main__":
    main()
