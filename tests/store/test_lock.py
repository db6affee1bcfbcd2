"""One recorder a session."""

from __future__ import annotations

import os
import signal
import subprocess
import sys

import pytest

from telltick.model.errors import BadInputError, SessionBusyError
from telltick.store.lock import held, hold, holder

HOLDER = """
import sys, pathlib
from telltick.store.lock import hold
with hold(pathlib.Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.read()
"""


def test_a_held_folder_is_seen_as_held_and_free_again_afterwards(tmp_path):
    assert not held(tmp_path)
    with hold(tmp_path):
        assert held(tmp_path)
        assert holder(tmp_path) == str(os.getpid())
    assert not held(tmp_path)


def test_a_second_recorder_is_told_which_process_has_it(tmp_path):
    with hold(tmp_path), pytest.raises(SessionBusyError, match=f"process {os.getpid()}"), hold(tmp_path):
        pass


def test_looking_creates_nothing(tmp_path):
    assert not held(tmp_path)
    assert not held(tmp_path / "nowhere")
    assert list(tmp_path.iterdir()) == []


def test_a_look_at_the_wrong_moment_turns_no_recorder_away(tmp_path):
    with hold(tmp_path):
        pass
    for _ in range(200):
        assert not held(tmp_path)
        with hold(tmp_path):
            pass


def test_a_lock_that_leads_out_of_the_folder_is_not_followed(tmp_path):
    victim = tmp_path / "victim"
    victim.write_text("precious")
    folder = tmp_path / "s"
    folder.mkdir()
    (folder / "recorder.lock").symlink_to(victim)
    with pytest.raises(BadInputError), hold(folder):
        pass
    assert victim.read_text() == "precious"


def test_a_lock_that_is_a_pipe_keeps_nobody_waiting(tmp_path):
    os.mkfifo(tmp_path / "recorder.lock")
    assert not held(tmp_path)
    assert holder(tmp_path) == "unknown"
    with pytest.raises(BadInputError, match="not a plain file"), hold(tmp_path):
        pass


def test_words_in_the_lock_that_are_no_process_are_not_shown(tmp_path):
    (tmp_path / "recorder.lock").write_text("\x1b[2J")
    assert holder(tmp_path) == "unknown"


@pytest.mark.bench_part
def test_a_killed_recorder_holds_nothing(tmp_path):
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(tmp_path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout.readline() == "held\n"
    assert held(tmp_path)
    assert holder(tmp_path) == str(process.pid)
    with pytest.raises(SessionBusyError), hold(tmp_path):
        pass
    process.send_signal(signal.SIGKILL)
    process.wait(timeout=20)
    assert not held(tmp_path)
    with hold(tmp_path):
        assert held(tmp_path)
