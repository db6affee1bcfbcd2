"""What verbs print, and how they end in a shell."""

from __future__ import annotations

import json
import subprocess
import sys

from telltick import __version__
from telltick.cli import main


def test_the_version_is_told(capsys):
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"telltick {__version__}\n"


def test_measure_prints_one_json_object_and_a_summary_for_people(saved, capsys):
    assert main(["measure", str(saved), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["schema"] == "telltick.measurement/1"
    assert found["whole"]["verdict"] == "tied to polling"
    assert main(["measure", str(saved)]) == 0
    assert "tied to polling" in capsys.readouterr().out


def test_a_refusal_reaches_the_shell_as_exit_code_two_and_one_line(tmp_path):
    command = [sys.executable, "-m", "telltick", "measure", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1


def test_a_reader_that_goes_away_gets_no_traceback(saved):
    program = [sys.executable, "-m", "telltick", "measure", str(saved), "--json"]
    with subprocess.Popen(program, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        said = process.stderr.read()
        process.wait(timeout=60)
    assert said == b""
    assert process.returncode == 1
