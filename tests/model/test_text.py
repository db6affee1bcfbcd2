"""Text from outside is harmless. Control sequences: ECMA-48; character classes: the Unicode database."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from telltick.model.text import plain_text


@given(st.text(), st.integers(0, 300))
def test_nothing_but_printable_characters_is_left(text, limit):
    plain = plain_text(text, limit)
    assert len(plain) <= limit
    assert all(unicodedata.category(c) not in {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"} for c in plain)
    assert plain == plain.strip()
    assert plain_text(plain, limit) == plain


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("\x1b[31;1mred\x1b[0m", "red"),
        ("\x9b2Jclear", "clear"),
        ("\x1b]0;title\x07after", "after"),
        ("\x1b]8;;http://x\x1b\\link\x1b]8;;\x1b\\", "link"),
        ("\x1bP+q544e\x1b\\dcs", "dcs"),
        ("\x1b(0box", "box"),
        ("\x1bcreset", "reset"),
        ("bell\x07 back\x08space\x00", "bell backspace"),
        ("a\r\nb\tc\u2028d", "a b c d"),
        ("\u202egnp.exe\u2066", "gnp.exe"),
        ("lär\u0301k 山 🙂", "lär\u0301k 山 🙂"),
        ("[b]markup[/b] stays", "[b]markup[/b] stays"),
        ("\ud800lone", "lone"),
    ],
)
def test_sequences_disappear_and_words_stay(text, plain):
    assert plain_text(text) == plain


def test_long_text_ends_in_dots():
    assert plain_text("x" * 50, 10) == "xxxxxxx..."


def test_endless_text_costs_no_time():
    assert len(plain_text("\x1b[" + "9" * 10_000_000, 20)) <= 20
