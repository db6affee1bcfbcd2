"""A live view of a session that grows: how often its parts change, and what it costs to look."""

from __future__ import annotations

import time
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from telltick.engine.live import LiveFeed
from telltick.engine.offline import measure_session
from telltick.model.clock import NS, Anchor
from telltick.model.snapshot import View
from telltick.store.journal import Journal
from telltick.store.lock import hold
from telltick.store.segments import AudioWriter
from telltick.store.session import SessionReader
from tests.engine.sessions import RATE, STARTED, bench_facts, rendered

SECONDS = 40
LOOKS_A_SECOND = 10
LATE_NS = NS // 5  # bursts reach the journal so long after they were on the line


@pytest.fixture(scope="module")
def watched(tmp_path_factory):
    """(seconds of sound, picture) of each look at a session while it was written, and its folder."""
    folder = tmp_path_factory.mktemp("watched")
    session, looks = rendered(seconds=SECONDS), []
    bursts, polls = list(session.bursts), list(session.polls)
    facts = replace(bench_facts(), started_mono_ns=time.monotonic_ns())
    with hold(folder), Journal.create(folder, facts) as journal, AudioWriter(folder, RATE) as writer:
        feed = LiveFeed(folder)
        for first in range(0, SECONDS * RATE, RATE // LOOKS_A_SECOND):
            if first % RATE == 0:
                journal.add_anchor(Anchor(0, first, first * NS // RATE, STARTED))
            writer.write(session.audio[first : first + RATE // LOOKS_A_SECOND])
            told_ns = writer.samples * NS // RATE - LATE_NS
            while bursts and bursts[0].end_ns <= told_ns:
                journal.add_bursts([bursts.pop(0)])
            while polls and polls[0].sent_ns + NS // 20 <= told_ns:
                journal.add_poll(polls.pop(0))
            looks.append((writer.samples / RATE, feed.look(View())))
        feed.close()
    return looks, folder


def test_the_strip_moves_at_every_look_and_its_sound_lags_by_a_tenth_of_a_second(watched):
    looks, _ = watched
    settled = [picture.strip for at_s, picture in looks if at_s > 12]
    heads = [strip.start_ns + strip.head * strip.cell_ns for strip in settled]
    assert all(NS // 20 <= after - before <= 3 * NS // 20 for before, after in pairwise(heads))
    assert max(np.isnan(strip.envelope_dbfs).sum() for strip in settled) <= 2  # columns of 50 ms


def test_the_meter_and_the_spectrum_are_renewed_once_a_second(watched):
    looks, _ = watched
    settled = [(at_s, picture) for at_s, picture in looks if at_s > 12]
    figures = {
        "meter": [(at_s, picture.window.excess_db.value) for at_s, picture in settled],
        "spectrum": [(at_s, picture.spectrum.quiet_dbfs.tobytes()) for at_s, picture in settled],
    }
    for part, values in figures.items():
        renewed = [at_s for (_, before), (at_s, value) in pairwise(values) if value != before]
        assert max(after - before for before, after in pairwise(renewed)) <= 1.0 + 1e-6, part


def test_what_was_seen_at_the_end_is_what_is_measured_afterwards(watched):
    looks, folder = watched
    seen = looks[-1][1]
    with SessionReader(folder) as reader:
        offline = measure_session(reader).whole
    assert seen.step.verdict is offline.verdict
    assert seen.step.excess_db.value == pytest.approx(offline.excess_db.value, abs=0.05)
    assert seen.step.noise_dbfs == pytest.approx(offline.noise_dbfs, abs=0.05)


def test_the_strip_that_grew_is_the_one_a_new_viewer_sees(watched):
    looks, folder = watched
    grown = looks[-1][1].strip
    with hold(folder):
        feed = LiveFeed(folder)
        feed._analyst.lock(replace(looks[-1][1].latency, locked=True))
        new = feed.look(View()).strip
        feed.close()
    assert (
        abs(new.start_ns + new.head * new.cell_ns - grown.start_ns - grown.head * grown.cell_ns) <= NS // 20
    )
    same = np.arange(len(grown.tx)) - grown.head
    same = np.flatnonzero((same < -8) | (same > 8))  # away from the head, where bytes and sound come in
    np.testing.assert_array_equal(new.tx[same], grown.tx[same])
    np.testing.assert_allclose(new.rx_share[same], grown.rx_share[same], atol=1e-9)
