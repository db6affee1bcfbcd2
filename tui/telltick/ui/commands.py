"""Every action as an entry of the list of commands."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from textual.command import DiscoveryHit, Hit, Hits, Provider

from telltick.ui.keymap import ACTIONS, Action
from telltick.ui.screens.session import SessionScreen


class SessionCommands(Provider):
    """The keymap's actions, found by any of their words."""

    async def discover(self) -> Hits:
        """All of them, before anything is typed."""
        for action in self._actions():
            yield DiscoveryHit(_title(action), self._runner(action), help=action.group.value)

    async def search(self, query: str) -> Hits:
        """Those that match what is typed."""
        matcher = self.matcher(query)
        for action in self._actions():
            title = _title(action)
            score = matcher.match(title)
            if score > 0:
                yield Hit(score, matcher.highlight(title), self._runner(action), help=action.group.value)

    def _actions(self) -> list[Action]:
        screen = self._session
        replay = screen is not None and screen.is_replay
        return [a for a in ACTIONS if a.name != "commands" and (a.replay if replay else a.live)]

    @property
    def _session(self) -> SessionScreen | None:
        return self.screen if isinstance(self.screen, SessionScreen) else None

    def _runner(self, action: Action) -> Callable[[], Awaitable[None]]:
        async def run() -> None:
            if self._session is not None:
                await self._session.run_action(action.call)

        return run


def _title(action: Action) -> str:
    return action.help[0].upper() + action.help[1:]
