import os

import pytest

from telltick.assets import shipped
from telltick.model.errors import BadInputError
from telltick.ui import wardrobe
from telltick.ui.palettes import load_palette, palette_files
from telltick.ui.wardrobe import Wardrobe

GOOD = (shipped("themes") / "night.toml").read_text(encoding="utf-8")


class Clock:
    now_s = 0.0

    def __call__(self) -> float:
        self.now_s += 1.5
        return self.now_s


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """The operator's own palettes, beside the shipped ones."""
    monkeypatch.setattr(wardrobe, "palette_files", lambda: palette_files([shipped("themes"), tmp_path]))
    return tmp_path


def write(path, text: str) -> None:
    """Write a file with a time of its own, however coarse the file system's clock is."""
    before_ns = path.stat().st_mtime_ns if path.exists() else 0
    path.write_text(text, encoding="utf-8")
    os.utime(path, ns=(before_ns + 10**9, before_ns + 10**9))


def test_every_palette_comes_up_in_turn_and_the_first_again(folder):
    worn = Wardrobe(load_palette(shipped("themes") / "night.toml"))
    names = [worn.next()[0].name for _ in palette_files([shipped("themes")])]
    assert sorted(names) == sorted(palette_files([shipped("themes")]))
    assert names[-1] == "night"


def test_a_faulty_file_of_the_operators_is_told_and_passed_over(folder):
    write(folder / "nighty.toml", GOOD.replace("#ffae42", "#ffae4"))
    worn = Wardrobe(load_palette(shipped("themes") / "night.toml"))
    palette, sentence = worn.next()
    assert palette.name == "red-lamp"
    assert "nighty.toml, line 14: colours.rise: '#ffae4' is not a colour" in sentence
    assert "\n" not in sentence


def test_a_palette_whose_file_is_edited_is_worn_anew(folder):
    write(folder / "mine.toml", GOOD)
    worn = Wardrobe(load_palette(folder / "mine.toml"), Clock())
    assert worn.changed() is None
    write(folder / "mine.toml", GOOD.replace("#ffae42", "#00ff00"))
    palette = worn.changed()
    assert palette is not None
    assert "#00ff00" in {ink.colour for ink in palette.inks.values()}
    assert worn.changed() is None


def test_a_fault_while_editing_is_told_once_and_the_old_colours_stay(folder):
    write(folder / "mine.toml", GOOD)
    worn = Wardrobe(load_palette(folder / "mine.toml"), Clock())
    write(folder / "mine.toml", GOOD.replace("rise =", "rize ="))
    with pytest.raises(BadInputError, match=r"line 14: there is no key colours\.rize"):
        worn.changed()
    assert worn.changed() is None
    assert worn.worn.title == "Night: calm and dark"
    (folder / "mine.toml").unlink()
    assert worn.changed() is None
