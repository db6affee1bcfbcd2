"""A thread that looks at the session, so that measuring never holds up a key."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable

from telltick.model.snapshot import Snapshot, View


class Lookout:
    """Looks when asked, one look at a time; what is asked for during a look becomes one further look."""

    def __init__(
        self,
        look: Callable[[View], Snapshot],
        seen: Callable[[Snapshot], object],
        failed: Callable[[Exception], object],
    ) -> None:
        """Prepare to look.

        Args:
            look: takes the picture; runs on this object's thread.
            seen: is handed each picture, on that thread.
            failed: is handed what a look raised, on that thread; the next request looks again.
        """
        self._look, self._seen, self._failed = look, seen, failed
        self._view = View()
        self._idle = threading.Lock()  # held while no picture is wanted; an event wakes half as quickly
        self._idle.acquire()
        self._leaving = False
        self._thread = threading.Thread(target=self._run, name="lookout", daemon=True)

    def start(self) -> None:
        """Begin; nothing is looked at before `ask`."""
        self._thread.start()

    def ask(self, view: View) -> None:
        """Want a picture, soon."""
        self._view = view
        self._wake()

    def stop(self, timeout_s: float = 1.0) -> bool:
        """Look no more; returns False when a look is still under way after `timeout_s`."""
        self._leaving = True
        self._wake()
        if self._thread.ident is not None:
            self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _wake(self) -> None:
        with contextlib.suppress(RuntimeError):  # it is awake already
            self._idle.release()

    def _run(self) -> None:
        while True:
            self._idle.acquire()
            if self._leaving:
                return
            try:
                snapshot = self._look(self._view)
            except Exception as why:
                self._failed(why)
            else:
                self._seen(snapshot)
