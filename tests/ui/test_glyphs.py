from dataclasses import fields

import pytest
from rich.cells import cell_len

from telltick.ui.glyphs import ASCII, UNICODE, terminal_wants_ascii


def test_the_ascii_set_is_ascii():
    texts = [getattr(ASCII, f.name) for f in fields(ASCII) if f.name != "ascii"]
    assert all(text.isascii() and text.isprintable() for text in texts)


@pytest.mark.parametrize("glyphs", [ASCII, UNICODE], ids=["ascii", "unicode"])
def test_every_glyph_that_fills_cells_is_one_cell_wide(glyphs):
    longer = {"ascii", "arrow", "up_down", "left", "right", "within", "steps"}
    for field in fields(glyphs):
        if field.name not in longer:
            assert cell_len(getattr(glyphs, field.name)) == 1, field.name
    assert [cell_len(step) for step in glyphs.steps] == [1] * 7


def test_text_from_outside_is_made_ascii_where_the_set_is():
    assert ASCII.clean("Große Höhe → 3 µV") == "Gro?e Hohe ? 3 ?V"
    assert UNICODE.clean("Große Höhe") == "Große Höhe"


def test_text_from_outside_loses_control_sequences_and_keeps_brackets():
    for glyphs in (ASCII, UNICODE):
        assert glyphs.clean("[bold]x\x1b[31mred\x07") == "[bold]xred"


@pytest.mark.parametrize(
    ("environ", "ascii_only"),
    [
        ({"LANG": "en_US.UTF-8"}, False),
        ({"LANG": "de_DE.utf8"}, False),
        ({"LANG": "C"}, True),
        ({"LANG": "en_US.ISO-8859-1"}, True),
        ({}, True),
        ({"LANG": "en_US.UTF-8", "LC_ALL": "C"}, True),
        ({"LANG": "C", "LC_CTYPE": "C.UTF-8"}, False),
        ({"LANG": "en_US.UTF-8", "LC_ALL": ""}, False),
    ],
)
def test_the_locale_decides_as_posix_ranks_its_variables(environ, ascii_only):
    # POSIX.1-2017, Base Definitions 8.2: LC_ALL before LC_CTYPE before LANG, empty counts as unset.
    assert terminal_wants_ascii(environ) is ascii_only
