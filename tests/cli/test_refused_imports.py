"""Imports of what is no audio or no table: one clear line, exit code 2, nothing lost or left behind."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from tests.cli.files import text_file
from tests.engine.sessions import RATE

BURSTS = "start_s,end_s,direction,bytes_hex\n0.5,0.51,tx,51313b\n"
MARKS = "time_s,factor,value,note\n0.2,,,rain\n"


def test_a_missing_recording_is_refused_and_leaves_nothing(refused, tmp_path):
    assert "gone.wav" in refused("import", tmp_path / "gone.wav", "--session", tmp_path / "s")
    assert not (tmp_path / "s").exists()


def test_what_is_not_audio_is_refused_and_leaves_nothing(refused, tmp_path):
    letter = text_file(tmp_path / "letter.wav", "Dear hut,\n" * 200)
    assert "letter.wav" in refused("import", letter, "--session", tmp_path / "s")
    assert not (tmp_path / "s").exists()


@pytest.mark.parametrize(
    ("table", "text", "line"),
    [
        ("bursts", f"{BURSTS}0.9,0.8,rx,00\n", 3),
        ("bursts", f"{BURSTS}0.9,1.0,up,00\n", 3),
        ("bursts", f"{BURSTS}0.9,nan,rx,00\n", 3),
        ("bursts", f"{BURSTS}-0.9,1.0,rx,00\n", 3),
        ("bursts", f"{BURSTS}0.9,1.0,rx,0x\n", 3),
        ("bursts", "start,end\n", 1),
        ("marks", f"{MARKS}soon,,,\n", 3),
        ("marks", f"{MARKS}0.4,antenna,,\n", 3),
        ("marks", f"{MARKS}0.4,antenna\n", 3),
    ],
)
def test_a_malformed_table_is_refused_with_its_line_and_leaves_nothing(
    refused, audio, tmp_path, table, text, line
):
    path = text_file(tmp_path / f"{table}.csv", text)
    said = refused("import", audio, f"--{table}", path, "--session", tmp_path / "s")
    assert f"{table}.csv, line {line}: " in said
    assert not (tmp_path / "s").exists()


@pytest.mark.parametrize(
    ("option", "named"),
    [
        ("--channel=2", "channel"),
        ("--channel=0", "channel"),
        ("--channel=-1", "channel"),
        ("--baud=-5", "baud"),
        ("--baud=0", "baud"),
        ("--framing=tight", "framing"),
    ],
)
def test_an_import_with_a_value_out_of_range_is_refused_and_leaves_nothing(
    refused, audio, tmp_path, option, named
):
    assert named in refused("import", audio, option, "--session", tmp_path / "s")
    assert not (tmp_path / "s").exists()


def test_nothing_is_imported_into_a_folder_that_holds_something(refused, audio, saved, tmp_path):
    assert "not empty" in refused("import", audio, "--session", tmp_path)
    assert "already holds a session" in refused("import", audio, "--session", saved)
    assert audio.exists()


def test_an_import_that_fails_half_way_leaves_no_half_session(refused, tmp_path):
    whole = tmp_path / "whole.flac"
    noise = np.random.default_rng(5).integers(-3000, 3000, 30 * RATE, dtype=np.int16)
    soundfile.write(whole, noise, RATE, subtype="PCM_16")
    damaged = bytearray(whole.read_bytes())
    damaged[len(damaged) // 2 :: 97] = bytes(len(damaged[len(damaged) // 2 :: 97]))
    cut = tmp_path / "cut.flac"
    cut.write_bytes(damaged)
    assert "damaged" in refused("import", cut, "--session", tmp_path / "s")
    assert not (tmp_path / "s").exists()


def test_an_import_that_fails_leaves_a_folder_that_was_there_before(refused, tmp_path):
    (tmp_path / "s").mkdir()
    refused("import", tmp_path / "gone.wav", "--session", tmp_path / "s")
    assert list((tmp_path / "s").iterdir()) == []
