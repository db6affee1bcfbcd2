"""Files to hand to commands."""

from __future__ import annotations

from pathlib import Path


def text_file(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path
