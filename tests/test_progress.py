"""How far a long command has come."""

from __future__ import annotations

import io

from telltick.progress import ProgressBar


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


class Clock:
    now = 100.0

    def __call__(self) -> float:
        return self.now


def draw(stream: io.StringIO, shares: list[float], every_s: float = 1.0) -> str:
    clock = Clock()
    with ProgressBar("measuring", stream, clock) as bar:
        for share in shares:
            clock.now += every_s
            assert bar(share) is True
        return stream.getvalue()


def test_the_time_left_is_told_at_a_terminal():
    assert "25 %  0:03 left" in draw(Terminal(), [0.25])
    assert "50 %  0:01 left" in draw(Terminal(), [0.5])
    assert "10 %  1:30:00 left" in draw(Terminal(), [0.1], every_s=600.0)


def test_the_line_is_wiped_at_the_end():
    stream = Terminal()
    draw(stream, [0.5])
    assert stream.getvalue().endswith("\r\x1b[K")


def test_nothing_is_drawn_where_nobody_looks():
    assert draw(io.StringIO(), [0.1, 0.9]) == ""


def test_what_is_quick_draws_nothing():
    stream = Terminal()
    draw(stream, [0.5, 1.0], every_s=0.1)
    assert stream.getvalue() == ""


def test_the_bar_is_not_drawn_more_often_than_eyes_follow():
    assert draw(Terminal(), [n / 100 for n in range(100)], every_s=0.02).count("%") <= 7


def test_the_bar_is_plain_ascii():
    assert draw(Terminal(), [0.3, 1.5, -1.0]).isascii()
