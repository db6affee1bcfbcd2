"""What is held open until somebody lets go of it."""

from __future__ import annotations

from types import TracebackType
from typing import Self


class Closing:
    """May stand in a ``with`` statement, which closes it at the end."""

    def close(self) -> None:
        """Let go of what is held."""
        raise NotImplementedError

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
