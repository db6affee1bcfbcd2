"""Print a measurement of the shipped session into the README: ``python -m tests.tools.make_readme``."""

from __future__ import annotations

import contextlib
import io
from pathlib import Path

from telltick.cli import main
from tests.tools.make_recordings import NAME, RECORDINGS

README = Path(__file__).parents[2] / "README.md"
_FIRST, _END = "larkfell hut (simulated): ", "\n```"


def measured() -> str:
    """What measuring the shipped session prints."""
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        main(["measure", str(RECORDINGS / NAME)])
    return printed.getvalue().rstrip()


def parts(readme: str) -> tuple[str, str, str]:
    """The README before the printed measurement, the measurement, and what follows it."""
    start = readme.index(_FIRST)
    end = readme.index(_END, start)
    return readme[:start], readme[start:end], readme[end:]


if __name__ == "__main__":
    before, _, after = parts(README.read_text(encoding="utf-8"))
    README.write_text(before + measured() + after, encoding="utf-8")
