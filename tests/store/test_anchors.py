"""A day's anchors in little memory."""

from __future__ import annotations

import tracemalloc

import pytest

from telltick.model.clock import NS, Anchor
from telltick.model.errors import BadSessionError
from telltick.store.journal import Journal
from telltick.store.session import SessionReader
from tests.store.scene import FACTS

WALL_NS = 1_777_748_580 * NS


def write(folder, anchors):
    with Journal.create(folder, FACTS) as journal, journal.batch():
        for anchor in anchors:
            journal.add_anchor(anchor)


def test_anchors_come_out_as_they_went_in_also_when_the_wall_clock_was_set(tmp_path):
    anchors = [
        Anchor(0, 0, 3, WALL_NS),
        Anchor(0, 48_000, NS - 70, WALL_NS + NS),
        Anchor(1, 96_000, 9000 * NS, WALL_NS - 86_400 * NS),
    ]
    write(tmp_path, anchors)
    with SessionReader(tmp_path) as reader:
        assert [*reader.anchors] == anchors
        assert reader.anchors[1:] == tuple(anchors[1:])
        assert reader.anchors[-1] == anchors[-1]


def test_an_anchor_takes_some_twenty_bytes(tmp_path):
    write(tmp_path, (Anchor(0, k * 48_000, k * NS, WALL_NS + k * NS + k % 7) for k in range(20_000)))
    tracemalloc.start()
    with SessionReader(tmp_path) as reader:
        held = tracemalloc.get_traced_memory()[0]
        tracemalloc.stop()
        assert len(reader.anchors) == 20_000
        assert held < 45 * 20_000  # the room for more counted; objects took over 200 each


def test_an_anchor_that_holds_words_is_nonsense(tmp_path):
    write(tmp_path, [Anchor(0, "first", 0, 0)])  # type: ignore[arg-type]
    with pytest.raises(BadSessionError, match="nonsense"):
        SessionReader(tmp_path)
