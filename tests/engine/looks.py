"""Everything a user may do with a saved session, as one call; for sessions that nobody trusts."""

from __future__ import annotations

import contextlib
import io
from pathlib import Path

from telltick.cli import main
from telltick.engine.replay import SavedFeed
from telltick.model.clock import NS
from telltick.model.errors import TelltickError
from telltick.model.snapshot import Snapshot, View


def commands(folder: Path, out: Path) -> list[list[str]]:
    """Command lines that read a session."""
    session = str(folder)
    return [
        ["check", session],
        ["check", session, "--json"],
        ["measure", session],
        ["measure", session, "--json"],
        *(["export", session, "--to", kind, "-o", str(out / kind)] for kind in ("csv", "json", "vtt")),
    ]


def run(words: list[str]) -> tuple[int, str, str]:
    """Exit code, output and errors of a command run in this process."""
    said, complained = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(complained):
        code = main(words)
    return code, said.getvalue(), complained.getvalue()


def pictures(folder: Path) -> list[Snapshot]:
    """What replay shows at some moments; empty when the session is refused with a clear error."""
    try:
        feed = SavedFeed(folder)
    except TelltickError:
        return []
    shown: list[Snapshot] = []
    try:
        for second in (0, 3, 7, 10**6):
            feed.seek(second * NS)
            for view in (View(), View(window_s=5.0, strip_cell_ns=NS)):
                shown.append(feed.look(view))
        feed.seek_mark(+1)
        feed.seek_mark(-1)
    except TelltickError:
        pass
    finally:
        feed.close()
    return shown
