"""Sessions from strangers, written out: a clear error and nothing left behind, or a clean file."""

from __future__ import annotations

import shutil
import unicodedata
from pathlib import Path

import html5lib
import pytest

from telltick.engine.exporting import export_folder
from telltick.model.errors import TelltickError
from tests.engine.sessions import Hands, rendered, write_rendered
from tests.store.strangers import EVIL, database, mutate


@pytest.fixture(scope="module")
def honest(tmp_path_factory) -> Path:
    """Ten seconds with a swap; nobody writes to it."""
    hands = [Hands(3, 4, "antenna", "dummy load")]
    return write_rendered(tmp_path_factory.mktemp("honest") / "s", rendered(seconds=10.0), hands)


@pytest.fixture
def session(honest, tmp_path) -> Path:
    return Path(shutil.copytree(honest, tmp_path / "work" / "s"))


@pytest.mark.parametrize("seed", [0, 7, 12, 109])
def test_a_mutated_session_leaves_a_whole_file_or_nothing(session, tmp_path, seed):
    mutate(session, seed)
    out = tmp_path / "out"
    out.mkdir()
    for to in ("html", "wav", "bag"):
        try:
            written = export_folder(session, to, out / to)
        except TelltickError:
            written = ()
        assert [path.name for path in out.iterdir()] == [path.name for path in written]
        for path in written:
            shutil.rmtree(path) if path.is_dir() else path.unlink()


def test_markup_and_control_sequences_in_every_text_stay_text(session, tmp_path):
    with database(session) as db:
        db.execute("UPDATE mark SET note = ?, factor = 'antenna', value = ?", (EVIL, EVIL))
        db.execute("UPDATE ending SET how = ?, note = ?", (EVIL, EVIL))
        db.execute("UPDATE fact SET json = json_quote(?) WHERE name = 'name'", (EVIL.replace("\x00", ""),))
    (page,) = export_folder(session, "html", tmp_path / "page.html")
    (text,) = export_folder(session, "md", tmp_path / "page.md")
    root = html5lib.HTMLParser(strict=True).parse(page.read_text(encoding="utf-8"))
    assert not list(root.iter("{http://www.w3.org/1999/xhtml}script"))
    for path in (page, text):
        said = path.read_text(encoding="utf-8")
        assert not {c for c in said if unicodedata.category(c) in {"Cc", "Cf", "Cs"}} - {"\n"}
