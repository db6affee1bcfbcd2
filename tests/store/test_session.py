"""A session as its readers see it."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import stat
import subprocess
import sys
import tempfile
import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from telltick.model.clock import NS, Anchor
from telltick.model.errors import BadSessionError
from telltick.model.marks import MarkKind
from telltick.model.on_air import CalibrationPoint, Environment, Place
from telltick.model.session import Outcome, Verb
from telltick.model.traffic import Burst, Direction, gate_from_bursts
from telltick.model.trial import TrialSlot
from telltick.store.journal import Journal
from telltick.store.readonly import ReadOnlyJournal
from telltick.store.segments import AudioWriter
from telltick.store.session import SessionReader
from tests.store.scene import FACTS, RATE, noise, poll_at, write_session


def test_a_saved_session_opens_whole(tmp_path):
    with SessionReader(write_session(tmp_path / "s")) as reader:
        assert reader.facts == FACTS
        assert (len(reader.bursts), len(reader.polls)) == (80, 40)
        assert reader.ending is not None
        assert (reader.start_ns, reader.end_ns) == (NS, 11 * NS)
        np.testing.assert_array_equal(reader.audio.read(0, 10 * RATE), noise(10 * RATE))


def test_refresh_tells_whether_anything_is_new(folder, journal):
    reader = SessionReader(folder)
    assert not reader.refresh()
    journal.add_bursts(poll_at(0, NS)[0])
    assert reader.refresh()
    assert not reader.refresh()
    with AudioWriter(folder, RATE) as audio:
        audio.write(noise(10))
    assert reader.refresh()
    assert not reader.refresh()


def test_opening_tells_how_far_it_is(folder, journal):
    for number in range(3):
        journal.add_bursts(poll_at(number, (number + 1) * NS)[0])
    shares: list[float] = []
    reader = SessionReader(folder, shares.append)
    assert shares
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    told = len(shares)
    journal.add_bursts(poll_at(3, 4 * NS)[0])
    assert reader.refresh()
    assert len(shares) == told


def test_a_refresh_from_another_thread_waits_and_reads_nothing_twice(folder, journal, monkeypatch):
    reader = SessionReader(folder)
    first, second = poll_at(0, NS)[0], poll_at(1, 2 * NS)[0]
    pages = ReadOnlyJournal.pages
    others: list[threading.Thread] = []

    def interrupted(self, table, *rest):
        for page in pages(self, table, *rest):
            if table == "burst" and not others:  # what was read is not taken in yet
                journal.add_bursts(second)
                others.append(threading.Thread(target=reader.refresh))
                others[0].start()
                others[0].join(timeout=0.1)
            yield page

    monkeypatch.setattr(ReadOnlyJournal, "pages", interrupted)
    journal.add_bursts(first)
    reader.refresh()
    others[0].join()
    reader.refresh()
    assert reader.bursts == (*first, *second)


def test_what_was_read_before_is_not_read_again(folder, journal):
    reader = SessionReader(folder)
    for number in range(5):
        bursts, poll = poll_at(number, number * NS)
        journal.add_bursts(bursts)
        journal.add_poll(poll)
        before = reader.bursts
        reader.refresh()
        assert reader.bursts[: len(before)] == before
        assert all(a is b for a, b in zip(before, reader.bursts, strict=False))
    assert [poll.number for poll in reader.polls] == [0, 1, 2, 3, 4]


def test_the_clock_follows_anchors_and_audio(folder, journal):
    reader = SessionReader(folder)
    assert reader.start_ns == reader.end_ns == 0
    journal.add_anchor(Anchor(0, 0, 3 * NS, 0))
    with AudioWriter(folder, RATE) as audio:
        audio.write(noise(RATE))
        reader.refresh()
        assert reader.clock.sample_at([3 * NS + NS // 2])[0] == RATE / 2
        assert np.isnan(reader.clock.sample_at([5 * NS])[0])
        audio.write(noise(2 * RATE))
    reader.refresh()
    assert reader.clock.sample_at([5 * NS])[0] == 2 * RATE
    assert reader.end_ns == 6 * NS


def test_the_gate_equals_the_one_made_burst_by_burst(tmp_path):
    reader = SessionReader(write_session(tmp_path / "s"))
    slow, fast = gate_from_bursts(reader.bursts, reader.clock), reader.gate()
    for name in ("start_s", "end_s", "rx", "poll"):
        np.testing.assert_array_equal(getattr(fast, name), getattr(slow, name))
    assert fast.data == slow.data


def test_a_session_without_an_ending_opens_as_it_is(tmp_path):
    reader = SessionReader(write_session(tmp_path / "s", ended=False))
    assert reader.ending is None
    assert reader.audio.samples == 10 * RATE


def test_requests_and_outcomes_are_read(folder, journal):
    request = journal.add_request(1, Verb.SET_BAUD, "4800")
    journal.add_outcome(Outcome(request.number, 2, done=False, note="no plan"))
    reader = SessionReader(folder)
    assert reader.requests == (request,)
    assert reader.outcomes == (Outcome(request.number, 2, done=False, note="no plan"),)


def test_the_draws_of_a_coin_trial_are_read(folder, journal):
    drawn = TrialSlot(poll=7, leg=1, cycle=3, cycle_ns=5 * NS, slot=2, slots=5, slot_ns=40_000_000)
    reader = SessionReader(folder)
    journal.add_trial_slot(drawn)
    assert reader.refresh()
    assert reader.trial_slots == (drawn,)


def test_a_session_of_schema_1_opens_and_has_no_coin_trial(tmp_path, monkeypatch):
    with monkeypatch.context() as older:
        older.setattr("telltick.store.schema.SCHEMA", 1)
        folder = write_session(tmp_path / "s")
    with SessionReader(folder) as reader:
        assert reader.trial_slots == ()
        with Journal.open(folder) as journal:  # brings the journal to the present schema
            journal.add_trial_slot(TrialSlot(0, 0, 0, NS, 1, 2, NS))
        assert reader.refresh()
        assert len(reader.trial_slots) == 1
        assert len(reader.polls) == 40


def test_a_reader_writes_nothing_into_a_saved_session(tmp_path):
    folder = write_session(tmp_path / "s")
    before = {path: (path.stat().st_mtime_ns, path.stat().st_size) for path in folder.rglob("*")}
    with SessionReader(folder) as reader:
        reader.refresh()
        reader.audio.read(0, 100)
    assert {path: (path.stat().st_mtime_ns, path.stat().st_size) for path in folder.rglob("*")} == before


def test_a_log_left_over_by_a_killed_recorder_is_read(folder, tmp_path, journal):
    journal.add_bursts(poll_at(0, NS)[0])
    copy = tmp_path / "copy"
    copy.mkdir()
    for name in ("journal.sqlite", "journal.sqlite-wal"):  # what is on disk the moment power fails
        shutil.copy(folder / name, copy)
    assert len(SessionReader(copy).bursts) == 2


def test_a_log_left_over_on_media_that_cannot_be_written_is_read(folder, tmp_path, journal, monkeypatch):
    journal.add_bursts(poll_at(0, NS)[0])
    copy = tmp_path / "copy"
    copy.mkdir()
    for name in ("journal.sqlite", "journal.sqlite-wal"):
        shutil.copy(folder / name, copy)
    real = sqlite3.connect

    def connect(path, **options):  # what SQLite says there, even to root
        if str(copy) in str(path):
            raise sqlite3.OperationalError("unable to open database file")
        return real(path, **options)

    monkeypatch.setattr(sqlite3, "connect", connect)
    before = sorted(copy.iterdir())
    with SessionReader(copy) as reader:
        assert len(reader.bursts) == 2
    assert sorted(copy.iterdir()) == before


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write anywhere")
def test_a_read_only_folder_opens(tmp_path):
    folder = write_session(tmp_path / "s", ended=False)
    folder.chmod(stat.S_IRUSR | stat.S_IXUSR)
    try:
        assert len(SessionReader(folder).bursts) == 80
    finally:
        folder.chmod(0o700)


def test_names_with_spaces_and_signs_open(tmp_path):
    folder = write_session(tmp_path / "hut #1 ? 100% ü")
    assert len(SessionReader(folder).bursts) == 80


def test_text_is_harmless_when_it_comes_out(folder):
    evil = "a\x1b[2Jb\x07\u202ec\nd\x9b31me"
    facts = replace(FACTS, name=evil, setup={evil: evil}, poll={"port": [evil]}, versions={"x": evil})
    with Journal.create(folder, facts) as journal:
        journal.add_mark(t_ns=1, kind=MarkKind.CHANGE, factor=evil, value=evil, note=evil * 1000)
        request = journal.add_request(1, Verb.SET_BAUD, evil)
        journal.add_outcome(Outcome(request.number, 2, done=False, note=evil))
    reader = SessionReader(folder)
    (mark,) = reader.marks
    texts = [
        reader.facts.name, *reader.facts.setup, *reader.facts.setup.values(), *reader.facts.poll["port"],
        mark.factor, mark.value, mark.note, reader.requests[0].value, reader.outcomes[0].note,
    ]  # fmt: skip
    assert all(text.isprintable() for text in texts)
    assert reader.facts.name == "abc de"
    assert len(mark.note) == 2000


# ---- what is not a session


def test_a_folder_that_does_not_exist_is_told(tmp_path):
    with pytest.raises(BadSessionError, match="does not exist"):
        SessionReader(tmp_path / "nowhere")


def test_a_file_is_not_a_session(tmp_path):
    (tmp_path / "f").write_text("")
    with pytest.raises(BadSessionError, match="is a file"):
        SessionReader(tmp_path / "f")


def test_a_folder_of_other_things_is_not_a_session(tmp_path):
    (tmp_path / "photo.jpg").write_bytes(b"\xff\xd8")
    with pytest.raises(BadSessionError, match=r"holds no journal\.sqlite"):
        SessionReader(tmp_path)


@pytest.mark.parametrize(
    "content", [b"", b"SQLite format 3\x00", b"x" * 5000, b"SQLite format 3\x00" + b"\xff" * 5000]
)
def test_a_journal_of_junk_is_not_a_session(tmp_path, content):
    (tmp_path / "journal.sqlite").write_bytes(content)
    with pytest.raises(BadSessionError):
        SessionReader(tmp_path)


def test_a_journal_that_leads_out_of_the_folder_is_refused(tmp_path):
    folder = write_session(tmp_path / "s")
    (folder / "journal.sqlite").rename(tmp_path / "elsewhere")
    (folder / "journal.sqlite").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(BadSessionError, match="link to somewhere else"):
        SessionReader(folder)


@pytest.mark.parametrize("name", ["journal.sqlite-wal", "journal.sqlite-shm", "journal.sqlite-journal"])
def test_a_companion_that_leads_out_of_the_folder_is_refused(tmp_path, name):
    folder = write_session(tmp_path / "s")
    victim = tmp_path / "victim"
    victim.write_text("precious")
    (folder / name).symlink_to(victim)
    for opening in (SessionReader, Journal.open):
        with pytest.raises(BadSessionError, match="link to somewhere else"):
            opening(folder)
    assert victim.read_text() == "precious"


def test_a_session_of_a_newer_schema_says_so(tmp_path):
    folder = write_session(tmp_path / "s")
    edit(folder, "PRAGMA user_version = 9")
    for opening in (SessionReader, Journal.open):
        with pytest.raises(BadSessionError, match=r"newer telltick \(schema 9\); update telltick to open it"):
            opening(folder)


def test_the_database_of_another_program_is_not_a_session(tmp_path):
    db = sqlite3.connect(tmp_path / "journal.sqlite")
    db.execute("CREATE TABLE song (title)")
    db.close()
    with pytest.raises(BadSessionError, match="written by something else"):
        SessionReader(tmp_path)


@pytest.mark.parametrize(
    "statement",
    [
        "CREATE TRIGGER t AFTER INSERT ON mark BEGIN DELETE FROM burst; END",
        "CREATE VIEW v AS SELECT 1",
        "ALTER TABLE burst ADD COLUMN extra GENERATED ALWAYS AS (start_ns) VIRTUAL",
        "DROP TABLE health",
        "CREATE TABLE more (x)",
    ],
)
def test_tables_that_are_not_exactly_ours_are_refused(tmp_path, statement):
    folder = write_session(tmp_path / "s")
    edit(folder, statement)
    for opening in (SessionReader, Journal.open):
        with pytest.raises(BadSessionError, match="does not have the tables of schema 2"):
            opening(folder)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE burst SET start_ns = 'soon' WHERE row = 3",
        "UPDATE burst SET data = 'text' WHERE row = 3",
        "UPDATE burst SET direction = 'up' WHERE row = 3",
        "UPDATE burst SET end_ns = start_ns - 1 WHERE row = 3",
        "UPDATE burst SET poll = 1.5 WHERE row = 3",
        "UPDATE poll SET due_ns = 0.5 WHERE row = 3",
        "UPDATE poll SET outcome = 'maybe' WHERE row = 3",
        "UPDATE poll SET reply_ns = 'x' WHERE row = 3",
        "UPDATE anchor SET run = 'x'",
        "UPDATE ending SET how = x'00'",
        "UPDATE fact SET json = '{' WHERE name = 'name'",
        "UPDATE fact SET json = '[[[' || replace(hex(zeroblob(5000)), '0', '[') WHERE name = 'name'",
        "UPDATE fact SET json = '5' WHERE name = 'name'",
        "UPDATE fact SET json = '0' WHERE name = 'rate_hz'",
        "DELETE FROM fact WHERE name = 'rate_hz'",
        "INSERT INTO mark VALUES (1, 1, 1, NULL, 'riddle', NULL, NULL, '', 'operator', 0, 0)",
        "INSERT INTO mark VALUES (1, 1, 1, NULL, 'note', NULL, NULL, CAST(x'ff' AS TEXT), 'operator', 0, 0)",
        "INSERT INTO request VALUES (1, x'00', 'resume', '')",
        "INSERT INTO health VALUES (1, 1, 'x', 'loud', '')",
        "INSERT INTO gap VALUES (1, 'stalled', 'x', 0, 0, '')",
        "INSERT INTO gap VALUES (1, 'bored', 0, 0, 0, '')",
    ],
)
def test_nonsense_in_an_intact_journal_is_told(tmp_path, statement):
    folder = write_session(tmp_path / "s")
    edit(folder, statement)
    with pytest.raises(BadSessionError, match="fresh copy"):
        SessionReader(folder)


def edit(folder, statement):
    db = sqlite3.connect(folder / "journal.sqlite", isolation_level=None)
    try:
        db.execute(statement)
    finally:
        db.close()


@pytest.mark.parametrize("seed", range(40))
def test_a_journal_with_flipped_bytes_opens_or_is_told_damaged(tmp_path, seed):
    folder = write_session(tmp_path / "s")
    path = folder / "journal.sqlite"
    rng = np.random.default_rng(seed)
    content = bytearray(path.read_bytes())
    for at in rng.integers(0, len(content), rng.integers(1, 200)):
        content[at] = rng.integers(256)
    if seed % 4 == 0:
        del content[rng.integers(len(content)) :]
    path.write_bytes(content)
    # Whatever lives in the bytes: it opens and can be used, or one clear error comes.
    with contextlib.suppress(BadSessionError), SessionReader(folder) as reader:
        _ = (reader.end_ns, reader.gate().polls, reader.document())
        reader.audio.read(0, reader.audio.samples)


def test_a_damaged_tree_that_leads_in_circles_is_told(tmp_path, monkeypatch):
    journal = ReadOnlyJournal(write_session(tmp_path / "s"))
    monkeypatch.setattr(journal, "rows", lambda *_: [(5, "x"), (6, "x"), (5, "x")])
    with pytest.raises(BadSessionError, match="is damaged"):
        list(journal.pages("burst", "data", -1))


def test_an_error_repeats_no_escape_sequence_of_a_stranger(tmp_path):
    folder = write_session(tmp_path / "s")
    edit(folder, "UPDATE poll SET outcome = char(27) || '[2J'")
    with pytest.raises(BadSessionError, match="nonsense") as caught:
        SessionReader(folder)
    assert str(caught.value).isprintable()


@pytest.mark.bench_part
@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can become nobody")
def test_a_stranger_without_the_right_to_write_reads_a_session_with_a_log(tmp_path):
    folder = write_session(tmp_path / "s", ended=False)
    program = (
        "import os, sys; from pathlib import Path; from telltick.store.session import SessionReader;"
        "os.setuid(65534); reader = SessionReader(Path(sys.argv[1]));"
        "print(len(reader.bursts), len(reader.marks), reader.audio.samples)"
    )
    with tempfile.TemporaryDirectory() as top:  # not under tmp_path: others must be able to enter
        copy = Path(top) / "copy"
        with Journal.open(folder) as journal:  # holds the log; copied as if power failed now
            journal.add_mark(t_ns=1, kind=MarkKind.PLAIN)
            shutil.copytree(folder, copy, ignore=shutil.ignore_patterns("*-shm"))
        for path in (Path(top), copy, *copy.rglob("*")):
            path.chmod(0o555 if path.is_dir() else 0o444)
        command = [sys.executable, "-c", program, str(copy)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.stdout, done.stderr) == (f"80 1 {10 * RATE}\n", "")


def test_a_request_that_nobody_knows_is_no_damage(tmp_path):
    folder = write_session(tmp_path / "s")
    edit(folder, "INSERT INTO request VALUES (1, 1, 'explode', 'now')")
    with SessionReader(folder) as reader:
        assert [(one.verb, one.value) for one in reader.requests] == [(Verb.UNKNOWN, "explode")]
    with Journal.open(folder) as journal:
        assert [one.verb for one in journal.pending_requests()] == [Verb.UNKNOWN]


def test_a_session_carries_its_calibration_and_its_place(tmp_path):
    point = CalibrationPoint(noise_figure_db=8.0, how="data sheet")
    place = Place(environment=Environment.RURAL, frequency_khz=14100.0)
    folder = tmp_path / "s"
    folder.mkdir()
    Journal.create(folder, replace(FACTS, calibration=point, place=place)).close()
    with SessionReader(folder) as reader:
        assert (reader.facts.calibration, reader.facts.place) == (point, place)


def test_bursts_that_are_still_wanted_stay_when_a_long_watch_lets_go(tmp_path):
    with Journal.create(tmp_path, FACTS) as journal, AudioWriter(tmp_path, RATE) as writer:
        writer.write(np.zeros(60 * RATE, dtype=np.int16))
        journal.add_anchor(Anchor(0, 0, 0, 0))
        journal.add_bursts([burst_at(number) for number in range(60)])
    with SessionReader(tmp_path) as whole, SessionReader(tmp_path) as reader:
        start_ns = [burst.start_ns for burst in whole.bursts]
        wanted = [(start_ns[10], start_ns[12]), (start_ns[30], start_ns[30])]
        reader.forget_before(start_ns[50], bursts_kept_ns=wanted)
        assert reader.bursts == (*whole.bursts[10:13], whole.bursts[30], *whole.bursts[50:])
        with Journal.open(tmp_path) as journal:
            journal.add_bursts([burst_at(60)])
        reader.refresh()
        assert reader.bursts[-2:] == (whole.bursts[59], burst_at(60))


def test_what_a_long_watch_lets_go_of_is_gone_and_the_rest_reads_as_before(tmp_path):
    anchors = [Anchor(0, second * RATE, second * NS + second * 1000, 0) for second in range(600)]
    with Journal.create(tmp_path, FACTS) as journal, AudioWriter(tmp_path, RATE) as writer:
        writer.write(np.zeros(600 * RATE, dtype=np.int16))
        with journal.batch():
            for anchor in anchors:
                journal.add_anchor(anchor)
            for number in range(600):
                journal.add_poll(poll_at(number, number * NS)[1])
                journal.add_bursts([burst_at(number)])
    with SessionReader(tmp_path) as whole, SessionReader(tmp_path) as reader:
        reader.forget_before(500 * NS)
        assert (reader.polls, reader.polls_forgotten) == (whole.polls[500:], 500)
        assert reader.bursts == whole.bursts[500:]
        assert len(reader.anchors) < 130
        late = [550 * RATE, 599 * RATE + 7]
        assert list(reader.clock.t_at(late)) == list(whole.clock.t_at(late))
        early = [250 * RATE + 30]
        assert reader.clock.t_at(early)[0] == pytest.approx(whole.clock.t_at(early)[0], abs=1000)
        with Journal.open(tmp_path) as journal:
            journal.add_poll(poll_at(600, 600 * NS)[1])
            journal.add_bursts([burst_at(600)])
            journal.add_anchor(Anchor(0, 600 * RATE, 600 * NS + 600_000, 0))
        assert reader.refresh()
        assert [poll.number for poll in reader.polls[-2:]] == [599, 600]
        assert reader.bursts[-1] == burst_at(600)


def burst_at(second: int) -> Burst:
    return Burst(second * NS + 1000, second * NS + 3_000_000, Direction.TX, b"Q1;", second)
