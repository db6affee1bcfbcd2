"""Text from outside made harmless: for a terminal, a table, a file name."""

from __future__ import annotations

import re

# ECMA-48: control sequences, then command strings up to their terminator, then two-byte escapes.
_SEQUENCES = re.compile(
    r"(?:\x1b\[|\x9b)[0-?]*[ -/]*[@-~]?"
    r"|(?:\x1b[\]PX^_]|[\x9d\x90\x98\x9e\x9f])[^\x07\x1b\x9c]*(?:\x07|\x9c|\x1b\\)?"
    r"|\x1b[ -/]*[0-~]?"
)
_SPACES = re.compile(r"\s+")


def plain_text(text: str, limit: int = 200) -> str:
    """One line of printable text: no escape sequences, no control, bidirectional or unassigned characters.

    Args:
        text: anything.
        limit: longest result in characters; longer text ends in ``...``.
    """
    text = _SEQUENCES.sub("", text[: 4 * limit + 64])
    text = "".join(c if c.isprintable() else " " if c.isspace() else "" for c in text)
    text = _SPACES.sub(" ", text).strip()
    if len(text) > limit:
        return text[: max(limit - 3, 0)].rstrip() + "..."[:limit]
    return text
