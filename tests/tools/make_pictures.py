"""Make the README's pictures from the shipped session: ``python -m tests.tools.make_pictures [FOLDER]``.

With a folder, every screen is made there in four sizes, in ASCII and in each palette, to look at. With
``--check`` nothing is written: it fails when a picture shows other words than the program does.
"""

from __future__ import annotations

import asyncio
import html
import re
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from textual.pilot import Pilot

from telltick.engine.replay import SavedFeed
from telltick.model.clock import NS
from telltick.model.plan import Settings
from telltick.ui.app import TelltickApp
from telltick.ui.widgets.spectrum import SpectrumPlot
from tests.tools.make_recordings import NAME, RECORDINGS

HOME = (120, 40)
SIZES = ((80, 24), (100, 30), HOME, (200, 60))
PALETTES = ("night", "day", "red-lamp", "contrast", "blue-amber", "sixteen", "plain")
TRIES = 600


@dataclass(frozen=True)
class Picture:
    """A screen to take.

    Attributes:
        size: of the terminal in cells.
        at_s: where the playhead stands.
        keys: pressed first.
        measured: every step must have been measured.
        theme: palette.
        ascii_only: draw with ASCII alone.
    """

    size: tuple[int, int] = HOME
    at_s: float = 60.0
    keys: tuple[str, ...] = ()
    measured: bool = False
    theme: str = "night"
    ascii_only: bool = False


SCREENS = {
    "screen": Picture(),
    "steps": Picture(keys=("s",), measured=True),
    "changes": Picture(keys=("s", "2"), measured=True),
    "findings": Picture(keys=("s", "3"), measured=True),
    "portrait": Picture(keys=("m",), measured=True),
    "trial": Picture(at_s=20.0, keys=("d",)),
}
PICTURES = {f"{name}.svg": SCREENS[name] for name in ("screen", "steps", "findings", "portrait")}


def plain(svg: str) -> str:
    """The picture without links to the outside: the reader's own monospaced font serves."""
    svg = re.sub(r"@font-face \{.*?\}\s*", "", svg, flags=re.DOTALL)
    svg = re.sub(r"<!--.*?-->\s*", "", svg, flags=re.DOTALL)
    return re.sub(r'font-family: ?"?Fira Code"?(, monospace)?', "font-family: monospace", svg)


async def take(picture: Picture) -> str:
    """Show the session paused at a time, wait until it has been measured, and return the screen as SVG."""
    feed = SavedFeed(RECORDINGS / NAME, clock_ns=lambda: 0)
    feed.toggle()
    feed.seek(int(picture.at_s * NS))
    app = TelltickApp(feed, Settings(theme=picture.theme), ascii_only=picture.ascii_only, environ={})

    def read() -> bool:
        snapshot = app.session.desk.snapshot
        return snapshot.window.excess_db is not None

    def measured() -> bool:
        return not picture.measured or app.session.measuring.results.measurement is not None

    async with app.run_test(size=picture.size) as pilot:
        await _until(pilot, read)
        await pilot.press(*picture.keys)
        await _until(pilot, measured)
        svg = await _still(pilot, app)
    feed.close()
    return svg


async def _still(pilot: Pilot[object], app: TelltickApp) -> str:
    """The screen once nothing on it changes any more: readings settle over a few looks, axes hold on."""
    svg, same = "", 0
    for _ in range(TRIES):
        app.session.query_one(SpectrumPlot).forget()
        await pilot.pause(0.6)
        before, svg = svg, plain(app.export_screenshot(title="telltick replay"))
        same = same + 1 if words_in(svg) == words_in(before) else 0
        if same == 3:
            break
    return svg


async def _until(pilot: Pilot[object], holds: Callable[[], bool]) -> None:
    for _ in range(TRIES):
        if holds():
            return
        await pilot.pause(0.05)


def variants() -> dict[str, Picture]:
    """Every screen in every size, in ASCII, and in every palette."""
    made: dict[str, Picture] = {}
    for name, one in SCREENS.items():
        base = one.__dict__
        for width, height in SIZES:
            made[f"{name}-{width}x{height}"] = Picture(**{**base, "size": (width, height)})
        made[f"{name}-ascii"] = Picture(**{**base, "ascii_only": True, "size": (80, 24)})
        for theme in PALETTES:
            made[f"{name}-{theme}"] = Picture(**{**base, "theme": theme})
    return made


def make(folder: Path, pictures: dict[str, Picture]) -> None:
    """Take pictures into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, picture in pictures.items():
        path = folder / name
        path.write_text(asyncio.run(take(picture)), encoding="utf-8")
        print(path)


def words_in(svg: str) -> list[str]:
    """What a picture says, line by line."""
    texts = re.findall(r"<text[^>]*>(.*?)</text>", svg, flags=re.DOTALL)
    return [html.unescape(text).replace("\xa0", " ").rstrip() for text in texts]


def outdated(names: Iterable[str]) -> list[str]:
    """Which of the README's pictures show what the program no longer draws."""
    return [
        name
        for name in names
        if words_in(asyncio.run(take(PICTURES[name]))) != words_in((RECORDINGS / name).read_text("utf-8"))
    ]


if __name__ == "__main__":
    if sys.argv[1:] == ["--check"]:
        old = outdated(PICTURES)
        sys.exit(f"draw them anew, by this program: {', '.join(old)}" if old else 0)
    elif len(sys.argv) > 1:
        make(Path(sys.argv[1]), {f"{name}.svg": one for name, one in variants().items()})
    else:
        make(RECORDINGS, PICTURES)
