"""The main screen over a feed, opened and shut as its tests need it."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

from textual.pilot import Pilot

from telltick.model.plan import Settings
from telltick.ui.app import TelltickApp
from tests.ui.fake_feed import FakeFeed
from tests.ui.on_screen import until

SIZE = (120, 40)
COLOURS = {"TERM": "xterm-256color"}


def app_for(feed: FakeFeed, *, ascii_only: bool = False, **settings: Any) -> TelltickApp:
    return TelltickApp(feed, Settings(**settings), ascii_only=ascii_only, environ=COLOURS)


@asynccontextmanager
async def on_session(
    feed: FakeFeed, *, size: tuple[int, int] = SIZE, **settings: Any
) -> AsyncIterator[tuple[TelltickApp, Pilot[Any]]]:
    """The app and who presses its keys, once it shows something of the feed."""
    app = app_for(feed, **settings)
    async with app.run_test(size=size) as pilot:
        await ready(pilot)
        yield app, pilot


async def ready(pilot: Pilot[Any]) -> None:
    await until(pilot, lambda: pilot.app.session.desk.snapshot.now_ns > 0)


async def type_in(pilot: Pilot[Any], text: str) -> None:
    await pilot.press(*text)
