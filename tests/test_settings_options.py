"""Settings on the command line, the settings file made on request, completion, and the log."""

from __future__ import annotations

import dataclasses
import logging
import re
import shlex
import shutil
import subprocess
import tomllib
import warnings

import pytest

from telltick import cli
from telltick.cli import VERBS, main
from telltick.model.plan import Settings
from telltick.options import EXAMPLES, build_parser
from telltick.store.settings import TEMPLATE, load_settings, settings_path
from telltick.ui.keymap import Keymap


@pytest.fixture(autouse=True)
def home(tmp_path, monkeypatch):
    for name in ("HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    return tmp_path


def uncommented(text: str) -> str:
    return re.sub(r"^# (\w+ = )", r"\1", text, flags=re.MULTILINE)


def test_the_settings_file_is_written_once_and_changes_nothing_by_itself(capsys):
    assert main(["settings", "--write"]) == 0
    assert capsys.readouterr().out.strip() == str(settings_path())
    assert load_settings() == Settings()
    assert main(["settings", "--write"]) == 2
    assert "is there already" in capsys.readouterr().err


def test_every_setting_stands_in_the_file_and_can_be_used_as_it_stands(tmp_path):
    path = tmp_path / "all.toml"
    path.write_text(uncommented(TEMPLATE), encoding="utf-8")
    assert set(tomllib.loads(path.read_text())) == {field.name for field in dataclasses.fields(Settings)}
    settings = load_settings(path)
    Keymap(settings.keys)
    assert settings.theme == "night"


def test_where_the_settings_are_is_printed_and_the_output_is_a_settings_file(tmp_path, capsys):
    assert main(["settings"]) == 0
    out = capsys.readouterr().out
    assert str(settings_path()) in out
    tomllib.loads(out)


def settings_of(*words: str) -> Settings:
    return cli._settings(build_parser().parse_args(["replay", "x", *words]))


def test_options_go_before_the_settings_file(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text('theme = "day"\n[keys]\nmark = "z"\nnote = "w"\n', encoding="utf-8")
    settings = settings_of("--settings", str(path), "--theme", "plain", "--ascii", "--key", "mark=X")
    assert (settings.theme, settings.ascii) == ("plain", True)
    assert settings.keys == {"mark": "X", "note": "w"}


@pytest.mark.parametrize("text", ["mark", "=x", "mark="])
def test_a_key_option_that_is_none_is_explained(text, capsys, tmp_path):
    assert main(["replay", str(tmp_path), "--key", text]) == 2
    assert "ACTION=KEY" in capsys.readouterr().err


@pytest.mark.parametrize("verb", EXAMPLES)
def test_the_help_of_a_verb_says_what_it_does_and_its_examples_are_taken(verb, capsys):
    assert main([verb, "--help"]) == 0
    shown = capsys.readouterr().out
    for example in EXAMPLES[verb]:
        assert example in shown
        build_parser().parse_args(shlex.split(example.partition(" >> ")[0])[1:])


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_has_a_description(verb, capsys):
    assert main([verb, "--help"]) == 0
    assert re.search(r"\n\n[A-Z][^\n]+", capsys.readouterr().out)


@pytest.mark.parametrize("shell", ["bash", "zsh", "tcsh"])
def test_completion_knows_every_verb(shell, capsys):
    assert main(["completion", shell]) == 0
    script = capsys.readouterr().out
    assert all(verb in script for verb in VERBS)


def test_bash_takes_the_completion_script(capsys):
    bash = shutil.which("bash")
    if bash is None:
        pytest.skip("no bash on this machine")
    main(["completion", "bash"])
    script = capsys.readouterr().out
    done = subprocess.run([bash, "-n"], input=script, text=True, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr


def test_warnings_go_to_the_log_and_not_to_the_screen(tmp_path, capfd):
    path = tmp_path / "screen.log"
    logging.captureWarnings(False)  # another test of this process may have left it on
    try:
        cli._keep_log(path)
        with warnings.catch_warnings():
            warnings.simplefilter("always")
            warnings.warn("something odd", stacklevel=1)
        logging.getLogger("telltick.ui").warning("a picture could not be made")
        logging.shutdown()
    finally:
        logging.captureWarnings(False)
        logging.basicConfig(force=True)
    assert "something odd" in path.read_text()
    assert "a picture could not be made" in path.read_text()
    assert capfd.readouterr().err == ""


def test_a_log_that_cannot_be_written_is_said(tmp_path, capsys):
    assert main(["replay", str(tmp_path), "--log", str(tmp_path)]) == 2
    assert "--log" in capsys.readouterr().err
