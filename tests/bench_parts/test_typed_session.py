"""A person at a terminal: starts the bench, marks, swaps, tosses coins, reads findings, exports, leaves."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from telltick.store.session import SessionReader
from tests.bench_parts.tmux import Tmux

pytestmark = pytest.mark.bench_part

TELLTICK = (sys.executable, "-m", "telltick")


def home(tmp_path) -> dict[str, str]:
    return {"HOME": str(tmp_path), "XDG_CONFIG_HOME": str(tmp_path), "XDG_DATA_HOME": str(tmp_path)}


def test_a_whole_session_is_typed_from_the_first_mark_to_the_report(tmp_path):
    folder = tmp_path / "hut"
    command = (*TELLTICK, "demo", "--session", str(folder), "--seed", "7")
    with Tmux(command, width=120, height=40, environ=home(tmp_path)) as screen:
        screen.until("TIED TO POLLING")
        screen.key("x")
        screen.until("marked")
        screen.key("a")
        screen.until("HANDS ON antenna")
        screen.type("dummy load")
        screen.key("Enter")
        screen.until(lambda picture: "dummy load" in picture and "HANDS ON" not in picture)
        screen.key("d")  # a coin trial
        screen.until("COIN TRIAL, over")
        screen.key("Escape")
        screen.until("spectrum")
        screen.key("s")
        screen.until("STEPS")
        screen.key("3")
        screen.until("FINDINGS")
        screen.until(lambda picture: "+ SUPPORTED" in picture)
        screen.resize(80, 24)
        screen.until(lambda picture: "FINDINGS" in picture and len(picture.splitlines()) <= 24)
        screen.key("Escape")  # which stops measuring first, where that is under way
        if "spectrum" not in screen.until(lambda picture: "spectrum" in picture or "was stopped" in picture):
            screen.key("Escape")
        screen.until("spectrum")
        screen.key("q")
        screen.until("stop")
        screen.key("s")
        screen.until("left with 0")
    with SessionReader(folder) as reader:
        assert reader.ending is not None
        assert reader.ending.how == "requested"
        assert {mark.value for mark in reader.marks if mark.factor == "antenna"} == {"dummy load"}
    page = tmp_path / "report.html"
    for way in (["--to", "html", "-o", str(page)], ["--to", "json", "-o", str(tmp_path / "hut.json")]):
        subprocess.run([*TELLTICK, "export", str(folder), *way], check=True, timeout=300)
    assert page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    measured = json.loads((tmp_path / "hut.json").read_text(encoding="utf-8"))["measurement"]
    assert measured["trial"]["highest_log10_e"] > 2
    assert any(finding["verdict"] == "supported" for finding in measured["findings"])
