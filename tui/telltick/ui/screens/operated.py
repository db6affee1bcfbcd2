"""What the parts of the main screen have in common: a desk, keys, a line to speak on."""

from __future__ import annotations

from collections.abc import Callable

from telltick.ui.desk import Desk
from telltick.ui.glyphs import Glyphs
from telltick.ui.keymap import Keymap
from telltick.ui.rows import Role
from telltick.ui.wire import WiredScreen


class OperatedScreen(WiredScreen[None]):
    """A screen with a session on its desk; `SessionScreen` puts the parts together."""

    desk: Desk
    keymap: Keymap
    glyphs: Glyphs
    results_tab: int  # of the results page: steps, changes, findings

    @property
    def is_replay(self) -> bool:
        """A saved session is shown."""
        raise NotImplementedError

    def say(self, sentence: str, role: Role = Role.TEXT) -> None:
        """Put a sentence on the notice line."""
        raise NotImplementedError

    def try_(self, do: Callable[[], None], otherwise: str) -> None:
        """Do something with the session; a failure is said and never ends the screen."""
        raise NotImplementedError

    def place_panels(self) -> None:
        """Give every panel its place."""
        raise NotImplementedError

    def action_change(self, factor: str) -> None:
        """Begin a change of a factor."""
        raise NotImplementedError

    def action_results(self) -> None:
        """Steps, changes, findings so far."""
        raise NotImplementedError
