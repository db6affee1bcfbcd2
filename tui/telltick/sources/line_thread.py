"""The thread that watches a serial line: should it ever fail, it does not do so in silence."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable

FAILED = "serial watch failed"

_log = logging.getLogger(__name__)


def start_line_thread(
    run: Callable[[], None], name: str, on_trouble: Callable[[str, str], None]
) -> threading.Thread:
    """Start a daemon thread for `run`.

    Args:
        run: watches the line until it is told to stop; lets go of the port however it ends.
        name: of the thread.
        on_trouble: told of a kind, `FAILED`, and words when `run` ends by an error that nobody foresaw.
    """

    def guarded() -> None:
        try:
            run()
        except Exception as why:
            _log.exception("the %s failed", name)
            on_trouble(
                FAILED,
                f"the {name} ended by a fault of its own ({why!r}): nothing more of the line is heard; "
                "end this session and begin another",
            )

    thread = threading.Thread(target=guarded, name=name, daemon=True)
    thread.start()
    return thread
