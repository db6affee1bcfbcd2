"""Is a session whole? Every kind of damage is told in words; what a crash leaves behind is not damage."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3

import pytest

from telltick.cli import main
from telltick.model.clock import NS
from telltick.model.errors import BadSessionError
from telltick.model.session import Gap, GapKind
from telltick.store.integrity import Level, check_session, is_damaged
from telltick.store.journal import Journal
from telltick.store.lock import hold
from telltick.store.segments import HEADER
from tests.store.scene import write_session


@pytest.fixture
def session(tmp_path):
    """Ten seconds in three segments of up to four."""
    return write_session(tmp_path / "s")


def said(folder, level: Level) -> str:
    return "\n".join(finding.what for finding in check_session(folder) if finding.level is level)


def segments(folder):
    return sorted((folder / "audio").iterdir())


def test_a_whole_session_gives_no_cause_for_words_and_is_not_changed(session):
    before = {path: path.stat().st_mtime_ns for path in session.rglob("*")}
    findings = check_session(session)
    assert {finding.level for finding in findings} == {Level.FINE}
    words = said(session, Level.FINE)
    assert "journal: whole" in words
    assert "3 segments" in words
    assert "10.0 s of audio, 40 polls, 80 bursts" in words
    assert "ending: requested" in words
    assert {path: path.stat().st_mtime_ns for path in session.rglob("*")} == before


def test_a_crash_is_told_and_is_no_damage(tmp_path):
    folder = write_session(tmp_path / "s", ended=False)
    assert not is_damaged(check_session(folder))
    assert "crashed or was killed at about 11.0 s" in said(folder, Level.NOTE)


def test_a_session_under_way_is_told_as_such(tmp_path):
    folder = write_session(tmp_path / "s", ended=False)
    with hold(folder):
        assert "it is being recorded now" in said(folder, Level.FINE)


def test_what_a_crash_leaves_behind_is_told_and_is_no_damage(session):
    last = segments(session)[-1]
    content = bytearray(last.read_bytes())
    content[HEADER.size - 4 : HEADER.size] = (8000).to_bytes(4, "little")  # half a second behind
    last.write_bytes(content + b"\x07")
    (session / "reserve").write_bytes(b"x")
    words = said(session, Level.NOTE)
    assert not is_damaged(check_session(session))
    assert "half a sample" in words
    assert "samples behind" in words
    assert "reserve: left over" in words


def test_a_segment_begun_and_never_written_is_told_and_is_no_damage(session):
    (session / "audio" / "000000080000.wav").write_bytes(b"RIFF")
    assert not is_damaged(check_session(session))
    assert "000000080000.wav holds no sound" in said(session, Level.NOTE)


def test_an_empty_header_is_told_and_its_sound_is_read(session):
    first = segments(session)[0]
    first.write_bytes(bytes(HEADER.size) + first.read_bytes()[HEADER.size :])
    assert not is_damaged(check_session(session))
    assert "empty header" in said(session, Level.NOTE)


def test_a_log_left_over_by_a_killed_recorder_is_told(session, tmp_path):
    copy = tmp_path / "copy"
    with Journal.open(session) as journal:
        journal.add_mark(t_ns=NS, kind="note", note="later")
        reader = sqlite3.connect(session / "journal.sqlite")
        reader.execute("PRAGMA journal_mode = WAL")
        journal.add_mark(t_ns=NS, kind="note", note="in the log")
        shutil.copytree(session, copy)
        reader.close()
    assert "write-ahead log" in said(copy, Level.NOTE)
    assert not is_damaged(check_session(copy))


def test_gaps_are_listed(session):
    with Journal.open(session) as journal:
        journal.open_gap(Gap(GapKind.DISK_FULL, 80_000, 11 * NS, None))
    assert "disk full at 11.0 s to the end" in said(session, Level.NOTE)


def test_a_missing_segment_is_damage(session):
    segments(session)[1].unlink()
    assert "32000 samples are missing before 000000064000.wav" in said(session, Level.DAMAGE)


def test_a_segment_that_was_cut_is_damage(session):
    os.truncate(segments(session)[0], 10_000)
    words = said(session, Level.DAMAGE)
    assert "000000000000.wav was cut" in words
    assert "missing before 000000032000.wav" in words


def test_a_link_in_place_of_a_segment_is_damage(session, tmp_path):
    last = segments(session)[-1]
    last.rename(tmp_path / "elsewhere.wav")
    last.symlink_to(tmp_path / "elsewhere.wav")
    assert "not a plain file" in said(session, Level.DAMAGE)


def test_a_pipe_in_place_of_a_segment_hangs_nobody(session):
    last = segments(session)[-1]
    last.unlink()
    os.mkfifo(last)
    assert is_damaged(check_session(session))


def test_a_journal_with_a_hole_is_damage(session):
    path = session / "journal.sqlite"
    content = bytearray(path.read_bytes())
    content[8192:12288] = b"\xaa" * 4096
    path.write_bytes(content)
    assert is_damaged(check_session(session))


def test_others_who_may_enter_are_told(session):
    session.chmod(0o755)
    assert "others on this machine may enter" in said(session, Level.NOTE)


def test_what_is_no_session_is_refused(tmp_path):
    with pytest.raises(BadSessionError, match="not a session"):
        check_session(tmp_path)


# ---- the command


def test_the_command_says_so_in_words_and_by_its_exit_code(session, capsys):
    assert main(["check", str(session)]) == 0
    assert capsys.readouterr().out.endswith("is whole\n")
    segments(session)[0].unlink()
    assert main(["check", str(session)]) == 1
    out, err = capsys.readouterr()
    assert "DAMAGED" in out
    assert err == ""


def test_the_command_speaks_json(session, capsys):
    assert main(["check", str(session), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["damaged"] is False
    assert {finding["level"] for finding in found["findings"]} == {"fine"}


def test_the_command_refuses_what_is_no_session(tmp_path, capsys):
    assert main(["check", str(tmp_path)]) == 2
    assert capsys.readouterr().err.count("\n") == 1
