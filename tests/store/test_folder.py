"""Session folders: names, privacy, and what may be recorded into."""

from __future__ import annotations

import re
import stat
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from telltick.model.clock import NS
from telltick.model.errors import BadInputError, BadSessionError, SessionBusyError
from telltick.model.plan import Settings
from telltick.store.folder import (
    check_session_folder,
    is_session,
    new_session_folder,
    prepare_folder,
    sessions_folder,
    slug,
)
from telltick.store.lock import hold
from tests.store.scene import write_session

MAY_2 = 1_777_748_580 * NS  # 2026-05-02T19:03:00Z, by `date -u -d @1777748580`


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_a_new_folder_says_when_and_where_and_is_private(tmp_path):
    folder = new_session_folder(tmp_path / "a" / "b", "Larkfell hut", MAY_2)
    assert folder.name == "2026-05-02T1903Z-larkfell-hut"
    assert mode(folder) == 0o700


def test_two_sessions_in_one_minute_get_two_folders(tmp_path):
    names = [new_session_folder(tmp_path, "hut", MAY_2).name for _ in range(3)]
    assert names == ["2026-05-02T1903Z-hut", "2026-05-02T1903Z-hut-2", "2026-05-02T1903Z-hut-3"]


def test_a_place_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(BadInputError, match="cannot be written"):
        new_session_folder(tmp_path / "file", "hut", MAY_2)


@given(st.text())
def test_a_name_becomes_a_plain_word_whatever_it_holds(name):
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", slug(name))
    assert len(slug(name)) <= 40


def test_accents_are_kept_as_letters():
    assert slug("Lärkfell / Hütte №2") == "larkfell-hutte-no2"


def test_an_empty_folder_is_made_ready_and_private(tmp_path):
    (tmp_path / "there").mkdir(mode=0o755)
    for path in (tmp_path / "there", tmp_path / "new" / "one"):
        assert prepare_folder(path) == path
        assert mode(path) == 0o700
        assert list(path.iterdir()) == []


def test_the_log_of_the_recorder_that_starts_may_lie_there_already(tmp_path):
    (tmp_path / "recorder.log").write_text("")
    (tmp_path / "recorder.lock").write_text("")
    prepare_folder(tmp_path)


def test_a_folder_that_holds_something_is_refused_and_left_alone(tmp_path):
    (tmp_path / "letter.txt").write_text("dear")
    with pytest.raises(BadInputError, match=r"not empty \(it holds letter.txt\)"):
        prepare_folder(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["letter.txt"]


def test_a_session_is_never_recorded_over(tmp_path):
    with pytest.raises(BadInputError, match="already holds a session"):
        prepare_folder(write_session(tmp_path / "s"))


def test_a_session_being_recorded_names_its_process(tmp_path):
    import os

    with hold(tmp_path), pytest.raises(SessionBusyError, match=f"process {os.getpid()}"):
        prepare_folder(tmp_path)


def test_a_file_is_no_folder(tmp_path):
    (tmp_path / "f").write_text("")
    with pytest.raises(BadInputError, match="cannot be written"):
        prepare_folder(tmp_path / "f")


def test_a_session_is_told_from_other_folders(tmp_path):
    session = write_session(tmp_path / "s")
    assert is_session(session)
    assert check_session_folder(session) == session
    assert not is_session(tmp_path)
    with pytest.raises(BadSessionError):
        check_session_folder(tmp_path)


def test_sessions_go_where_the_operator_says_or_to_the_users_data():
    assert sessions_folder(Settings(sessions="~/bench")) == Path.home() / "bench"
    assert sessions_folder(Settings()).name == "sessions"
