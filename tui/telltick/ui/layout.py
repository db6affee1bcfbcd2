"""Where the panels go: a plain function of the terminal's size."""

from __future__ import annotations

from dataclasses import dataclass

HOME_WIDTH = 120
LEAST_WIDTH, LEAST_HEIGHT = 80, 24
GUTTER = 2  # cells between pictures and numbers: with one, words at the border read as one


@dataclass(frozen=True)
class Box:
    """A panel's place, in cells."""

    x: int
    y: int
    width: int
    height: int


def arrange(width: int, height: int) -> dict[str, Box]:
    """Places of the panels by name; a panel without a place is not shown.

    Pictures stand on the left, numbers on the right. Below 80x24 only the numbers are left.

    Args:
        width: of the terminal in cells.
        height: of the terminal in cells.
    """
    if width < LEAST_WIDTH or height < LEAST_HEIGHT:
        return _numbers_only(width, height)
    right = _right_width(width)
    left = width - right - GUTTER
    body = height - 3  # header, notice line, footer
    boxes = {"header": Box(0, 0, width, 1)}
    boxes |= _stack(0, 1, left, _left_heights(body))
    boxes |= _stack(left + GUTTER, 1, right, _right_heights(body))
    boxes["notice"] = Box(0, height - 2, width, 1)
    boxes["footer"] = Box(0, height - 1, width, 1)
    return boxes


def _right_width(width: int) -> int:
    if width < 100:
        return 30
    if width < HOME_WIDTH:
        return 34
    return 40 if width < 170 else 58


def _left_heights(body: int) -> dict[str, int]:
    """Spectrum, strip and journal share the left side."""
    strip = 7 if body < 24 else 10 if body < 40 else 13
    journal = max(4, min(1 + body // 5, 14))
    return {"spectrum": body - strip - journal, "strip": strip, "journal": journal}


def _right_heights(body: int) -> dict[str, int]:
    """Meter, setup and input health share the right side."""
    health = 3 if body < 24 else 5
    meter = 12 if body < 24 else 14 if body < 36 else 20 if body < 50 else 30
    return {"meter": meter, "setup": body - meter - health, "health": health}


def _stack(x: int, y: int, width: int, heights: dict[str, int]) -> dict[str, Box]:
    boxes: dict[str, Box] = {}
    for name, height in heights.items():
        boxes[name] = Box(x, y, width, height)
        y += height
    return boxes


def _numbers_only(width: int, height: int) -> dict[str, Box]:
    boxes = {"header": Box(0, 0, width, 1)}
    body = max(height - 3, 0)
    if body:
        meter = min(body, 13)
        boxes["meter"] = Box(0, 1, width, meter)
        if body - meter >= 2:
            boxes["journal"] = Box(0, 1 + meter, width, body - meter)
    if height >= 3:
        boxes["notice"] = Box(0, height - 2, width, 1)
    if height >= 2:
        boxes["footer"] = Box(0, height - 1, width, 1)
    return boxes
