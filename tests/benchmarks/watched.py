"""The program with a watch on its screen: ``python -m tests.benchmarks.watched LOG WORDS...``.

Writes one JSON object a line: frames sent, gaps of the event loop, processor time of each thread. Times are
on the monotonic clock, which all processes share.
"""

from __future__ import annotations

import asyncio
import json
import os
import sys
import threading
import time
from pathlib import Path
from typing import Any, TextIO

from telltick import cli
from telltick.ui.screens.session import SessionScreen
from telltick.ui.wire import WiredApp

BEAT_S = 0.05


class Watch:
    """Hooks around the screen."""

    def __init__(self, log: TextIO) -> None:
        self._log = log
        self._picture_s: float | None = None

    def note(self, kind: str, **values: Any) -> None:
        self._log.write(json.dumps({"kind": kind, "t": time.monotonic(), **values}) + "\n")
        self._log.flush()

    def install(self) -> None:
        self.note("pid", pid=os.getpid())
        question, show, mounted = WiredApp._question, SessionScreen.show_waiting, WiredApp.on_mount

        def asked(app: WiredApp[Any]) -> str:
            self.note("asked", picture=self._picture_s)
            return question(app)

        def shown(screen: SessionScreen) -> None:
            waiting = screen._waiting
            show(screen)
            if waiting is not None and screen._waiting is None:
                self._picture_s = getattr(waiting, "seen_s", None) or time.monotonic()

        def on_mount(app: WiredApp[Any]) -> None:
            mounted(app)
            self._tasks = [asyncio.ensure_future(self._beat()), asyncio.ensure_future(self._count())]

        WiredApp._question, SessionScreen.show_waiting, WiredApp.on_mount = asked, shown, on_mount

    async def _beat(self) -> None:
        last = time.monotonic()
        while True:
            await asyncio.sleep(BEAT_S)
            now = time.monotonic()
            if now - last > 2 * BEAT_S:
                self.note("gap", gap=now - last - BEAT_S)
            last = now

    async def _count(self) -> None:
        while True:
            self.note("cpu", threads=thread_seconds())
            await asyncio.sleep(1)


def thread_seconds() -> dict[str, float]:
    """Processor seconds used so far by each thread, by its name."""
    used: dict[str, float] = {}
    for thread in threading.enumerate():
        stat = Path(f"/proc/self/task/{thread.native_id}/schedstat")
        if stat.exists():
            used[thread.name] = used.get(thread.name, 0.0) + int(stat.read_text().split()[0]) / 1e9
    return used


if __name__ == "__main__":
    with Path(sys.argv[1]).open("w", encoding="utf-8") as out:
        Watch(out).install()
        code = cli.main(sys.argv[2:])
    sys.exit(code)
