"""Help pages on a terminal: the text files in ``telltick/pages``, dressed up where that can be shown."""

from __future__ import annotations

import difflib
import sys
from importlib import resources
from typing import TextIO

from telltick.model.errors import BadInputError

TOPICS = {
    "start": "the first ten minutes",
    "station": "wiring audio and serial, levels, calibration, cautions",
    "method": "how the numbers are made, with formulas and sources",
    "format": "what a session folder holds",
}
WIDEST = 100


def page(topic: str) -> str:
    """The text of a page (Markdown).

    Raises:
        BadInputError: there is no such page.
    """
    if topic not in TOPICS:
        near = difflib.get_close_matches(topic, TOPICS, n=1)
        advice = f"did you mean {near[0]}?" if near else f"topics are {', '.join(TOPICS)}"
        raise BadInputError(f"there is no help on {topic!r}; {advice}")
    return resources.files("telltick").joinpath("pages", f"{topic}.md").read_text(encoding="utf-8")


def contents() -> str:
    """The topics there are, one a line."""
    lines = [f"  telltick help {name:<9} {about}" for name, about in TOPICS.items()]
    return "\n".join(["Help pages:", *lines, "", "Options of a command: telltick VERB --help"])


def print_page(topic: str, file: TextIO | None = None) -> None:
    """Print a page: dressed on a terminal that shows more than ASCII, as plain text elsewhere."""
    file = sys.stdout if file is None else file
    text = page(topic)
    if not (file.isatty() and (file.encoding or "").lower().replace("-", "") == "utf8"):
        print(text, end="", file=file)
        return
    from rich.console import Console
    from rich.markdown import Markdown

    console = Console(file=file)
    console.print(Markdown(text), width=min(console.width, WIDEST))
