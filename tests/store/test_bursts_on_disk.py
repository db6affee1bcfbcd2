"""Bursts that stay in the journal open the same gate as bursts held in memory."""

from __future__ import annotations

import sqlite3
from bisect import bisect_left

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from telltick.engine.measuring import SessionMeasurer
from telltick.engine.offline import measured_document
from telltick.export.json_out import measurement_document
from telltick.model.clock import NS, Anchor, AudioClock
from telltick.model.errors import BadSessionError
from telltick.store import bursts_on_disk
from telltick.store.bursts import BurstColumns
from telltick.store.bursts_on_disk import BurstsOnDisk
from telltick.store.session import SessionReader
from tests.engine.sessions import rendered, write_rendered

CLOCK = AudioClock(48_000, [Anchor(0, 0, 0, 0)])
SMALL_PAGE, FEW_HELD = 4, 12


class Shelf:
    """Rows of a journal, and which of them were fetched."""

    def __init__(self, rows) -> None:
        self.rows, self.fetched = rows, []

    def fetch(self, into: BurstColumns, first: int, last: int) -> None:
        numbers = [row[0] for row in self.rows]
        some = self.rows[bisect_left(numbers, first) : bisect_left(numbers, last + 1)]
        self.fetched += [row[0] for row in some]
        into.extend(some)


def shelved(rows, pages) -> tuple[BurstsOnDisk, Shelf]:
    """Rows looked at in pages of some lengths."""
    shelf, at = Shelf(rows), 0
    bursts = BurstsOnDisk(shelf.fetch)
    for length in pages:
        bursts.extend(rows[at : at + length])
        at += length
    bursts.extend(rows[at:])
    return bursts, shelf


@pytest.fixture(autouse=True, scope="module")
def small_pages():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(bursts_on_disk, "PAGE", SMALL_PAGE)
        patch.setattr(bursts_on_disk, "MOST_HELD", FEW_HELD)
        yield


burst = st.tuples(
    st.integers(0, 25 * NS),
    st.integers(0, NS // 2),
    st.sampled_from(["tx", "rx"]),
    st.binary(max_size=2),
    st.none() | st.integers(0, 5),
)
windows = st.lists(st.tuples(st.integers(0, 25 * NS), st.integers(0, 10 * NS)), min_size=1, max_size=5)


@settings(max_examples=200)
@given(st.lists(burst, max_size=40), st.lists(st.integers(0, 9), max_size=6), windows)
def test_every_part_of_the_gate_is_the_same_in_whatever_order_it_is_asked_for(said, pages, asked):
    rows = [(3 * k, s, s + length, way, data, poll) for k, (s, length, way, data, poll) in enumerate(said)]
    memory, (disk, _) = BurstColumns(), shelved(rows, pages)
    memory.extend(rows)
    assert len(disk) == len(memory)
    assert disk.newest_start_ns == memory.newest_start_ns
    for start_ns, length_ns in [*asked, (0, 30 * NS)]:
        here, there = (one.gate(CLOCK, start_ns, start_ns + length_ns) for one in (disk, memory))
        for name in ("start_s", "end_s", "rx", "poll"):
            np.testing.assert_array_equal(getattr(here, name), getattr(there, name))
        assert here.data == there.data
    whole = disk.gate(CLOCK, texts=False)
    np.testing.assert_array_equal(whole.start_s, memory.gate(CLOCK).start_s)
    assert whole.data == ()


def test_a_pass_from_beginning_to_end_reads_hardly_more_than_once_and_holds_few():
    rows = [(k, k * NS, k * NS + 1, "tx", bytes([k % 256, k // 256]), k) for k in range(800)]
    disk, shelf = shelved(rows, [SMALL_PAGE] * 200)
    most = 0
    for at_s in range(0, 800, 2):
        assert len(disk.gate(CLOCK, at_s * NS, (at_s + 6) * NS).start_s) == min(6, 800 - at_s)
        most = max(most, len(disk._held))
    assert len(shelf.fetched) < 1.6 * len(rows)
    assert most <= (bursts_on_disk._AHEAD + 2) * SMALL_PAGE
    shelf.fetched.clear()
    disk.gate(CLOCK, 790 * NS, 795 * NS)
    assert shelf.fetched == []


def test_few_bursts_are_held_and_never_read_again():
    rows = [(k, k * NS, k * NS + 1, "tx", b"?", k) for k in range(FEW_HELD)]
    disk, shelf = shelved(rows, [5])
    assert len(disk.gate(CLOCK, 0, 6 * NS).start_s) == 6
    assert shelf.fetched == []
    disk.extend([(FEW_HELD, FEW_HELD * NS, FEW_HELD * NS + 1, "tx", b"?", FEW_HELD)])
    assert len(disk._held) == 0


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write_rendered(tmp_path_factory.mktemp("sparing") / "s", rendered(4, 48.0))


def test_a_session_measured_sparingly_gives_the_same_document(folder):
    with SessionReader(folder) as reader:
        found = SessionMeasurer(reader).measure()
        assert measured_document(folder) == measurement_document(reader.document(bursts=False), found)
    assert found.polling.replies.sent > 200
    assert found.polling.replies.median_ms > 0


def test_what_is_not_held_cannot_be_taken_for_nothing(folder):
    with SessionReader(folder, sparing=True) as reader:
        with pytest.raises(TypeError, match="sparingly"):
            reader.bursts  # noqa: B018
        with pytest.raises(TypeError, match="sparingly"):
            reader.forget_before(NS)
        with pytest.raises(TypeError, match="how polls ended"):
            reader.polls[0]


@pytest.mark.parametrize("what", ["data = 'text'", "start_ns = 'soon'", "end_ns = start_ns - 1"])
def test_a_damaged_burst_is_refused_when_the_session_is_opened(tmp_path, what):
    folder = write_rendered(tmp_path / "s", rendered(4, 10.0))
    with sqlite3.connect(folder / "journal.sqlite") as journal:
        journal.execute(f"UPDATE burst SET {what} WHERE row = 7")
    with pytest.raises(BadSessionError, match="nonsense"):
        SessionReader(folder, sparing=True)
