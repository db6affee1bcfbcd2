"""The help pages say what is so: every command in them parses, every file and table they name exists."""

from __future__ import annotations

import io
import re
import shlex
import sqlite3
import tomllib

import pytest

from telltick.cli import VERBS, main
from telltick.model.cautions import ALL
from telltick.model.errors import BadInputError
from telltick.options import build_parser
from telltick.store import schema
from telltick.ui.pages import TOPICS, contents, page, print_page

WHOLE = re.compile(r"^    +(telltick .*?)(?:   +.*)?$", re.MULTILINE)
MENTIONED = re.compile(r"`telltick (\w+)")


@pytest.mark.parametrize("topic", TOPICS)
def test_every_command_on_a_page_is_one_that_the_program_takes(topic):
    commands = WHOLE.findall(page(topic))
    mentioned = MENTIONED.findall(page(topic))
    assert set(mentioned) <= set(VERBS)
    for command in commands:
        build_parser().parse_args(shlex.split(command)[1:])


@pytest.mark.parametrize("topic", TOPICS)
def test_a_page_fits_a_terminal_and_is_plain_ascii(topic):
    text = page(topic)
    assert text.isascii()
    assert max(len(line) for line in text.splitlines()) <= 120
    assert text.startswith("# ")


def test_the_format_page_names_every_table_of_the_journal():
    named = set(re.findall(r"\b[a-z_]+\b", page("format")))
    database = sqlite3.connect(":memory:")
    schema.migrate(database)
    tables = {row[0] for row in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    assert {table for table in tables if not table.startswith("sqlite_")} <= named


def test_the_station_page_has_every_caution():
    shown = " ".join(page("station").split())
    for caution in ALL:
        first_words = " ".join(caution.split()[:6]).rstrip(":.,;")
        assert first_words in shown, caution


def test_toml_on_a_page_is_toml():
    blocks = re.findall(r"```toml\n(.*?)```", page("station"), re.DOTALL)
    assert blocks
    for block in blocks:
        tomllib.loads(block)


def test_help_without_a_topic_lists_them_and_a_wrong_one_is_explained(capsys):
    assert main(["help"]) == 0
    assert capsys.readouterr().out.strip() == contents()
    assert main(["help", "methods"]) == 2
    assert "did you mean method?" in capsys.readouterr().err
    with pytest.raises(BadInputError, match="topics are start"):
        page("zzz")


def test_piped_help_is_the_plain_text():
    out = io.StringIO()
    print_page("method", out)
    assert out.getvalue() == page("method")
