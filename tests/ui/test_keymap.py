import pytest

from telltick.model.errors import BadInputError
from telltick.ui.factors import FACTORS
from telltick.ui.glyphs import ASCII, UNICODE
from telltick.ui.keymap import ACTIONS, BY_NAME, Keymap
from telltick.ui.rows import Room, text_of, width_of
from telltick.ui.screens.help import HEIGHT, WIDTH, draw_help
from telltick.ui.screens.session import SessionScreen
from telltick.ui.widgets.footer import draw_keys


def test_every_factor_has_a_key_and_every_changing_key_a_factor():
    keymap = Keymap()
    assert all(keymap.for_factor(name) for name in FACTORS)
    called = {a.call.split("'")[1] for a in ACTIONS if a.call.startswith("change(")}
    assert called == set(FACTORS)


def test_every_action_is_a_method_of_the_screen():
    for action in ACTIONS:
        assert hasattr(SessionScreen, f"action_{action.call.split('(')[0]}"), action.name


def test_a_wish_moves_an_action_to_another_key():
    keymap = Keymap({"antenna": "h", "redraw": "Ctrl+R", "slower": "\\"})
    assert keymap.key("antenna") == "h"
    assert keymap.key("redraw") == "ctrl+r"
    assert keymap.for_factor("antenna") == "h"
    assert keymap.bindings()["mark_before"] == "comma"


def test_two_actions_may_change_places():
    keymap = Keymap({"antenna": "c", "cable": "a"})
    assert (keymap.key("antenna"), keymap.key("cable")) == ("c", "a")


@pytest.mark.parametrize(
    ("wishes", "words"),
    [
        ({"antena": "d"}, r"no action keys\.antena; did you mean antenna\?"),
        ({"zzz": "d"}, r"no action keys\.zzz; actions are antenna, "),
        ({"antenna": "c"}, r"keys\.(antenna|cable): 'c' is already the key of (antenna|cable)"),
        ({"antenna": "5"}, r"keys\.antenna: '5' is already the key of jumping in replay"),
        ({"antenna": "enter"}, "kept for leaving prompts"),
        ({"antenna": "hyper+q"}, "is not a key"),
        ({"antenna": ""}, "is not a key"),
        ({"antenna": "\x1b"}, "is not a key"),
    ],
)
def test_keys_that_cannot_be_are_explained(wishes, words):
    with pytest.raises(BadInputError, match=words):
        Keymap(wishes)


@pytest.mark.parametrize("replay", [False, True], ids=["live", "replay"])
@pytest.mark.parametrize("glyphs", [UNICODE, ASCII], ids=["unicode", "ascii"])
def test_the_help_has_a_line_for_every_action_and_fits(glyphs, replay):
    keymap = Keymap({"antenna": "h"})
    rows = draw_help(keymap, Room(WIDTH, HEIGHT, glyphs), replay=replay)
    page = "\n".join(text_of(line).rstrip() for line in rows)
    assert (WIDTH, HEIGHT) == (80, 24)
    assert len(rows) <= HEIGHT
    assert max(width_of(line) for line in rows) <= WIDTH
    arrows = {"left": glyphs.left, "right": glyphs.right}
    for action in ACTIONS:
        if action.replay if replay else action.live:
            assert f" {keymap.shown(action.name, arrows=arrows)} " in page.replace("\n", " \n "), action.name
    assert " h " in page
    assert not glyphs.ascii or page.isascii()


@pytest.mark.parametrize("replay", [False, True], ids=["live", "replay"])
@pytest.mark.parametrize("width", [40, 80, 100, 120, 200])
def test_the_footer_fits_and_always_shows_help_and_quit(width, replay):
    line = text_of(draw_keys(Keymap(), Room(width, 1, UNICODE), replay=replay)).rstrip()
    assert len(line) <= width
    assert line.endswith("? help  q quit")
    if replay:
        assert "Space play" in line
    elif width >= 80:
        assert "a antenna" in line


def test_a_wide_footer_shows_every_everyday_action():
    line = text_of(draw_keys(Keymap(), Room(220, 1, UNICODE), replay=False))
    assert all(f" {a.label} " in line for a in ACTIONS if a.rank < 9 and a.live)


def test_names_and_keys_are_unique():
    assert len(BY_NAME) == len(ACTIONS)
    assert len({a.key for a in ACTIONS}) == len(ACTIONS)
