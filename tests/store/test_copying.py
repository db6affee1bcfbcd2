"""Copies measure to the same numbers, also while a recording goes on."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest

from telltick.model.clock import NS, Anchor
from telltick.model.errors import BadInputError, BadSessionError, CancelledError
from telltick.model.session import Ending
from telltick.model.traffic import Burst, Direction
from telltick.store.copying import copy_session, file_digests
from telltick.store.folder import is_bagged, session_within
from telltick.store.integrity import check_session, is_damaged
from telltick.store.journal import Journal
from telltick.store.lock import hold
from telltick.store.segments import AudioWriter
from telltick.store.session import SessionReader
from tests.engine.sessions import STARTED, bench_facts

RATE = 8000


def sound(seconds: float) -> np.ndarray:
    return np.random.default_rng(4).normal(0, 900, int(seconds * RATE)).astype(np.int16)


@pytest.fixture
def ended(tmp_path):
    """A session in three segments of a second, ended."""
    folder = tmp_path / "ended"
    folder.mkdir(mode=0o700)
    with (
        Journal.create(folder, bench_facts(RATE)) as journal,
        AudioWriter(folder, RATE, segment_s=1) as writer,
    ):
        writer.write(sound(2.5))
        journal.add_anchor(Anchor(0, 0, 0, STARTED))
        journal.add_bursts([Burst(NS, NS + 1_000_000, Direction.TX, b"RF;", 0)])
        journal.end(Ending(int(2.5 * NS), "requested"))
    return folder


def test_a_copy_holds_the_same_audio_byte_for_byte_and_the_same_journal(ended, tmp_path):
    copy = copy_session(ended, tmp_path / "copy")
    before, after = file_digests(ended), file_digests(copy)
    assert [one.name for one in before] == [one.name for one in after]
    assert len(before) == 4
    assert before[1:] == after[1:]
    with SessionReader(ended) as one, SessionReader(copy) as other:
        assert one.bursts == other.bursts
        assert one.facts == other.facts
        assert one.ending == other.ending


def test_a_copy_is_private_and_one_plain_journal(ended, tmp_path):
    copy = copy_session(ended, tmp_path / "copy")
    assert copy.stat().st_mode & 0o777 == 0o700
    assert sorted(path.name for path in copy.iterdir()) == ["audio", "journal.sqlite"]


def test_checksums_are_those_of_the_files(ended):
    for one in file_digests(ended):
        data = (ended / one.name).read_bytes()
        assert (one.size, one.sha256) == (len(data), hashlib.sha256(data).hexdigest())


def test_a_copy_of_a_growing_session_ends_where_the_journal_does(tmp_path):
    folder = tmp_path / "live"
    folder.mkdir(mode=0o700)
    with (
        hold(folder),
        Journal.create(folder, bench_facts(RATE)) as journal,
        AudioWriter(folder, RATE, segment_s=2) as writer,
    ):
        for second in range(5):
            writer.write(sound(1))
            journal.add_anchor(Anchor(0, second * RATE, second * NS, STARTED + second * NS))
        writer.write(sound(0.7))  # heard, but its bytes are not in the journal yet
        copy = copy_session(folder, tmp_path / "copy")
        with SessionReader(folder) as live, SessionReader(copy) as reader:
            assert reader.audio.samples == 4 * RATE < live.audio.samples
            np.testing.assert_array_equal(reader.audio.read(0, 4 * RATE), live.audio.read(0, 4 * RATE))
        assert not is_damaged(check_session(copy))


def test_writers_are_not_held_up_and_later_rows_are_not_in_the_copy(tmp_path):
    folder = tmp_path / "live"
    folder.mkdir(mode=0o700)
    with hold(folder), Journal.create(folder, bench_facts(RATE)) as journal:
        journal.add_bursts([Burst(0, 1, Direction.TX, b"a", 0)])
        copy = copy_session(folder, tmp_path / "copy")
        journal.add_bursts([Burst(2, 3, Direction.TX, b"b", 1)])
        with SessionReader(copy) as reader:
            assert [burst.data for burst in reader.bursts] == [b"a"]


def test_giving_up_is_heard_while_audio_is_copied(ended, tmp_path):
    with pytest.raises(CancelledError):
        copy_session(ended, tmp_path / "copy", lambda _: False)


def test_the_session_in_a_bag_is_found_and_cannot_be_written(ended, tmp_path):
    bag = tmp_path / "bag"
    (bag / "data").mkdir(parents=True)
    (bag / "bagit.txt").write_text("BagIt-Version: 1.0\n")
    inside = bag / "data" / "hut"
    ended.rename(inside)
    assert session_within(bag) == inside
    assert is_bagged(inside)
    with SessionReader(bag) as reader:
        assert reader.folder == inside
    with pytest.raises(BadInputError, match="evidence in a bag; copy it out"):
        Journal.open(inside)


def test_a_bag_without_a_session_is_told(tmp_path):
    (tmp_path / "bagit.txt").write_text("BagIt-Version: 1.0\n")
    with pytest.raises(BadSessionError, match="holds 0 sessions"):
        SessionReader(tmp_path)


def test_an_archive_is_to_be_unpacked_first(tmp_path):
    (tmp_path / "bag.zip").write_bytes(b"PK")
    with pytest.raises(BadSessionError, match="archive; unpack it"):
        SessionReader(tmp_path / "bag.zip")
