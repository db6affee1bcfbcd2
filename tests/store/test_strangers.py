"""Sessions from strangers: whatever is in them, there is a clear error or a clean display, nothing else."""

from __future__ import annotations

import os
import shutil
import signal
import unicodedata
from pathlib import Path

import pytest

from telltick.model.clock import NS
from telltick.model.session import Gap, GapKind, HealthNote, Outcome, Verb
from telltick.store.journal import Journal
from tests.engine.looks import commands, pictures, run
from tests.engine.sessions import RATE, Hands, rendered, write_rendered
from tests.store.strangers import EVIL, database, mutate

PATIENCE_S = 60
# Seeds of the second group once led to a traceback, a hang, or memory beyond all bounds.
SEEDS = (*range(36), 109, 279, 297, 460, 603, 929)


@pytest.fixture(scope="module")
def honest(tmp_path_factory) -> Path:
    """A session with something in every table; nobody writes to it."""
    folder = write_rendered(
        tmp_path_factory.mktemp("honest") / "s",
        rendered(seconds=10.0),
        [Hands(3, 4, "antenna", "dummy load")],
    )
    with Journal.open(folder) as journal:
        journal.add_health(HealthNote(5, "clipping", 3.0, "x"))
        request = journal.add_request(5, Verb.SET_BAUD, "9600")
        journal.add_outcome(Outcome(request.number, 6, True, "baud: 9600"))
        journal.open_gap(Gap(GapKind.STALLED, RATE * 5, 5 * NS, 5 * NS, "n"))
    return folder


@pytest.fixture
def session(honest, tmp_path) -> Path:
    return Path(shutil.copytree(honest, tmp_path / "work" / "s"))


@pytest.fixture
def out(tmp_path) -> Path:
    place = tmp_path / "out"
    place.mkdir()
    return place


@pytest.fixture(autouse=True)
def patience():
    """Nothing hangs."""

    def give_up(*_: object) -> None:
        raise AssertionError(f"it took longer than {PATIENCE_S} s")

    before = signal.signal(signal.SIGALRM, give_up)
    signal.alarm(PATIENCE_S)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


def dirt(text: str) -> set[str]:
    """Characters that could act on a terminal: controls, and those that turn the direction of writing."""
    return {c for c in text if unicodedata.category(c) in {"Cc", "Cf", "Cs"} and c not in "\n\t"}


def contents(folder: Path) -> dict[str, bytes | None]:
    kept = (path for path in folder.rglob("*") if not path.name.endswith(("-shm", "-wal")))
    return {str(path): path.read_bytes() if path.is_file() else None for path in kept}


def assert_harmless(session: Path, out: Path) -> None:
    """Do all that can be done with a session."""
    before = contents(session)
    for words in commands(session, out):
        code, said, complained = run(words)
        assert code in {0, 1, 2}
        assert not dirt(said + complained)
        assert complained.count("\n") <= 1
        assert complained == "" or complained.startswith("telltick: ")
        assert (code == 0) == bool(said) or words[0] == "check"
    for snapshot in pictures(session):
        texts = [*snapshot.notices, *snapshot.setup, *snapshot.setup.values(), snapshot.health.last_gap]
        for mark in snapshot.marks:
            texts += [mark.factor or "", mark.value or "", mark.note]
        assert not any(dirt(text) or "\n" in text for text in texts)
    assert contents(session) == before


@pytest.mark.parametrize("seed", SEEDS)
def test_a_mutated_session_ends_in_a_clear_error_or_a_clean_display(session, out, seed):
    mutate(session, seed)
    assert_harmless(session, out)


def test_control_sequences_and_markup_in_every_text_come_out_harmless(session, out):
    with database(session) as db:
        db.execute("UPDATE mark SET note = ?, factor = 'antenna', value = ?", (EVIL, EVIL))
        db.execute("UPDATE health SET kind = ?, note = ?", (EVIL, EVIL))
        db.execute("UPDATE outcome SET note = ?", (EVIL,))
        db.execute("UPDATE gap SET note = ?", (EVIL,))
        db.execute("UPDATE ending SET how = ?, note = ?", (EVIL, EVIL))
        db.execute("UPDATE fact SET json = json_quote(?) WHERE name = 'name'", (EVIL.replace("\x00", ""),))
    assert_harmless(session, out)
    for path in out.rglob("*"):
        if path.is_file():
            assert not dirt(path.read_text(encoding="utf-8").replace("\r\n", "\n"))
    assert "<script>" not in (out / "vtt").read_text(encoding="utf-8")


def test_names_of_a_session_folder_come_out_harmless(session, out):
    hostile = session.with_name("\x1b]0;owned\x07 [bold]s")
    session.rename(hostile)
    assert_harmless(hostile, out)
    (hostile / "journal.sqlite").write_bytes(b"x")
    assert_harmless(hostile, out)


@pytest.mark.parametrize(
    "name",
    [
        "recorder.lock",
        "recorder.log",
        "reserve",
        "journal.sqlite-wal",
        "journal.sqlite-shm",
        "journal.sqlite-journal",
        "audio/000000000000.wav",
        "audio/000000099999.wav",
    ],
)
def test_a_pipe_in_the_place_of_a_file_is_not_waited_for(session, name):
    path = session / name
    path.unlink(missing_ok=True)
    os.mkfifo(path)
    code, _, complained = run(["check", str(session)])
    assert code in {0, 1, 2}
    assert complained.count("\n") <= 1


def test_a_link_to_a_file_of_the_users_is_not_followed(session, out, tmp_path):
    secret = tmp_path / "secret"
    secret.write_bytes(b"RIFF" + bytes(100))
    last = sorted((session / "audio").iterdir())[-1]
    last.unlink()
    last.symlink_to(secret)
    code, _, complained = run(["measure", str(session)])
    assert code == 2
    assert "not a plain file" in complained
    assert_harmless(session, out)


@pytest.mark.parametrize("baud", ["inf", "nan", "1e999", "-", ""])
def test_a_rate_that_is_no_number_hangs_and_breaks_nothing(session, out, baud):
    with database(session) as db:
        db.execute("UPDATE mark SET factor = 'baud', value = ?", (baud,))
    assert_harmless(session, out)
