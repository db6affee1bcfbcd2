import re

import numpy as np
import pytest
from colorspacious import cspace_convert, deltaE

from telltick.assets import shipped
from telltick.model.errors import BadInputError
from telltick.ui.palettes import (
    NAMED_ROLES,
    NIGHT,
    PLAIN,
    SIXTEEN,
    Ink,
    choose_palette,
    find_palette,
    load_palette,
    palette_files,
)
from telltick.ui.rows import Role

SHIPPED = sorted(path.stem for path in shipped("themes").glob("*.toml"))
COLOURED = [name for name in SHIPPED if name not in (SIXTEEN, PLAIN)]
GOOD = (shipped("themes") / "night.toml").read_text(encoding="utf-8")


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour, WCAG 2.2, https://www.w3.org/TR/WCAG22/#dfn-relative-luminance."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio, WCAG 2.2, https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_meets_the_standards_own_ends_of_the_scale():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#777777") == pytest.approx(1.0)


def test_a_dark_a_light_and_a_red_palette_are_shipped_and_those_for_plain_terminals():
    assert {"night", "day", "red-lamp", "contrast", "blue-amber", "sixteen", "plain"} <= set(SHIPPED)


@pytest.mark.parametrize("name", SHIPPED)
def test_every_shipped_palette_loads_and_names_every_role(name):
    palette = find_palette(name, [shipped("themes")])
    assert set(palette.inks) == set(NAMED_ROLES)
    assert set(palette.styles()) == set(Role)
    assert palette.title


@pytest.mark.parametrize("name", COLOURED)
def test_words_and_numbers_can_be_read(name):
    # WCAG 2.2 asks 4.5 of text (AA) and 3 of large text and of graphics; labels count as graphics here.
    palette = find_palette(name, [shipped("themes")])
    for ground in (palette.ground.colour, palette.panel.colour):
        for role in (Role.TEXT, Role.NUMBER, Role.RISE, Role.KEY, Role.WARN, Role.BAD, Role.HANDS, Role.MARK):
            least = 3.0 if name == "red-lamp" else 4.5
            assert contrast(palette.inks[role].colour, ground) >= least, role
    assert contrast(palette.inks[Role.LABEL].colour, palette.ground.colour) >= (
        2.0 if name == "red-lamp" else 4.5
    )


@pytest.mark.parametrize("name", COLOURED)
def test_pictures_stand_out_from_the_ground(name):
    # WCAG 2.2, 1.4.11: graphics that one must see to understand need 3 to 1; a dark-adapted eye sees more.
    palette = find_palette(name, [shipped("themes")])
    for role in (Role.QUIET, Role.FLOOR, Role.RISE, Role.TO_RADIO, Role.FROM_RADIO):
        least = 1.8 if name == "red-lamp" else 3.0
        assert contrast(palette.inks[role].colour, palette.ground.colour) >= least, role


def test_the_strongest_palette_reaches_the_higher_grade_everywhere():
    # WCAG 2.2, 1.4.6 (AAA): 7 to 1 for text.
    palette = find_palette("contrast", [shipped("themes")])
    for role in set(NAMED_ROLES) - {Role.QUIET, Role.RULE}:
        for ground in (palette.ground.colour, palette.panel.colour):
            assert contrast(palette.inks[role].colour, ground) >= 7.0, role


VISION = ("normal", "protanomaly", "deuteranomaly", "tritanomaly")
PICTURE_PAIRS = [(Role.QUIET, Role.RISE), (Role.QUIET, Role.FLOOR)]
STATE_PAIRS = [
    (Role.FLOOR, Role.RISE), (Role.TO_RADIO, Role.FROM_RADIO), (Role.GOOD, Role.BAD), (Role.GOOD, Role.WARN),
    (Role.WARN, Role.BAD), (Role.RISE, Role.TEXT), (Role.HANDS, Role.MARK), (Role.LATE, Role.MARK),
]  # fmt: skip


def difference(one: str, other: str, vision: str) -> float:
    """Distance of two colours in CAM02-UCS (Luo, Cui & Li 2006; 1 is just noticeable), as such eyes see them.

    Defects as simulated by Machado, Oliveira & Fernandes (2009), IEEE TVCG 15(6), at full severity: the
    library colorspacious computes both.
    """
    seen = []
    for colour in (one, other):
        srgb = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
        if vision != "normal":
            srgb = cspace_convert(srgb, {"name": "sRGB1+CVD", "cvd_type": vision, "severity": 100}, "sRGB1")
        seen.append(np.clip(srgb, 0, 1))
    return float(deltaE(*seen, input_space="sRGB1"))


@pytest.mark.parametrize("vision", VISION)
@pytest.mark.parametrize("name", COLOURED)
def test_quiet_floor_and_rise_are_told_apart_by_every_eye(name, vision):
    inks = find_palette(name, [shipped("themes")]).inks
    for one, other in PICTURE_PAIRS:
        assert difference(inks[one].colour, inks[other].colour, vision) >= 12, (one, other)


@pytest.mark.parametrize("vision", VISION)
def test_the_safe_palette_keeps_every_pair_of_meanings_apart_for_every_eye(vision):
    inks = find_palette("blue-amber", [shipped("themes")]).inks
    for one, other in PICTURE_PAIRS + STATE_PAIRS:
        assert difference(inks[one].colour, inks[other].colour, vision) >= 15, (one, other)


def test_the_simulation_mixes_up_red_and_green_as_such_eyes_do():
    # A red and a green of equal lightness for a deuteranope: far apart for the usual eye, close for that one.
    assert difference("#b05a3c", "#7d7d2d", "normal") > 3 * difference("#b05a3c", "#7d7d2d", "deuteranomaly")


def test_the_red_lamp_gives_off_red_alone():
    palette = find_palette("red-lamp", [shipped("themes")])
    for ink in (palette.ground, palette.panel, *palette.inks.values()):
        red, green, blue = (int(ink.colour[k : k + 2], 16) for k in (1, 3, 5))
        assert red > 1.7 * max(green, blue), ink


def test_the_plain_palette_uses_no_colour():
    palette = find_palette(PLAIN, [shipped("themes")])
    assert {ink.colour for ink in palette.inks.values()} == {"default"}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (GOOD.replace('rise = "#ffae42"', ""), r"colours\.rise: this colour is missing"),
        (GOOD.replace("rise =", "rize ="), r"no key colours\.rize; did you mean colours\.rise\?"),
        (GOOD.replace("#ffae42", "#ffae4"), r", line 14: colours\.rise: '#ffae4' is not a colour"),
        (GOOD.replace('"#ffae42"', "7"), r"colours\.rise: '7' is not a colour"),
        (
            GOOD.replace('kind = "dark"', 'kind = "gloomy"'),
            ", line 3: kind: must be dark, light, terminal, not 'gloomy'",
        ),
        (GOOD.replace("title =", "titel ="), r", line 2: there is no key titel; did you mean title\?"),
        ('title = "x"', r"no table \[colours\]"),
        ('title = "x"\nkind =\n', "is not a palette: .*line 2"),
        ("colours = " + "[" * 3000, "is not a palette"),
    ],
)
def test_a_faulty_palette_file_is_explained_with_its_name_and_key(tmp_path, text, words):
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInputError, match=f"mine.toml.*{words}"):
        load_palette(path)


def test_a_file_that_is_no_text_or_too_large_is_explained(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(BadInputError, match="is not a palette"):
        load_palette(path)
    path.write_bytes(b"#" * 200_000)
    with pytest.raises(BadInputError, match="too large"):
        load_palette(path)
    with pytest.raises(BadInputError, match=r"cannot be read \(No such file"):
        load_palette(tmp_path / "none.toml")


def test_a_palette_is_found_by_name_or_by_file_and_the_operators_own_goes_first(tmp_path):
    mine = tmp_path / "night.toml"
    mine.write_text(GOOD.replace("Night: calm and dark", "Mine"), encoding="utf-8")
    assert find_palette("night", [shipped("themes"), tmp_path]).title == "Mine"
    assert find_palette(str(mine), [shipped("themes")]).title == "Mine"
    with pytest.raises(BadInputError, match=r"no palette 'noon'; choose from .*day, night"):
        find_palette("noon", [shipped("themes")])


@pytest.mark.parametrize(
    ("wanted", "environ", "name"),
    [
        (None, {"TERM": "xterm-256color"}, NIGHT),
        (None, {"TERM": "xterm", "COLORTERM": "truecolor"}, NIGHT),
        (None, {"TERM": "linux"}, SIXTEEN),
        (None, {}, SIXTEEN),
        ("day", {"TERM": "linux"}, "day"),
        # https://no-color.org: "when present and not an empty string (regardless of its value)"
        ("day", {"TERM": "xterm-256color", "NO_COLOR": "1"}, PLAIN),
        (None, {"TERM": "xterm-256color", "NO_COLOR": ""}, NIGHT),
    ],
)
def test_the_palette_to_start_with_follows_wish_and_terminal(wanted, environ, name):
    assert choose_palette(wanted, environ, [shipped("themes")]).name == name


def test_colours_are_written_as_hex_or_by_a_terminals_own_names():
    assert Ink.parse("#AABBCC bold") == Ink("#aabbcc", ("bold",))
    assert Ink.parse("bright red reverse").for_rich == "bright_red"
    assert Ink.parse("default").for_css == "ansi_default"
    for wrong in ("", "bold", "#12345", "pinkish", "#gggggg", "red blue"):
        with pytest.raises(ValueError, match=re.escape(repr(wrong))):
            Ink.parse(wrong)


def test_palette_files_are_listed_by_name():
    assert set(SHIPPED) <= set(palette_files())
