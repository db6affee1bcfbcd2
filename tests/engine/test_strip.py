from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from telltick.engine.strip import PATIENCE_NS, StripMaker, covered_share
from telltick.model.clock import NS, Anchor, AudioClock
from telltick.model.marks import Mark, MarkKind
from telltick.model.snapshot import View
from telltick.store.bursts import BurstColumns

RATE_HZ = 8_000
MS = NS // 1000
VIEW = View(strip_cells=40, strip_cell_ns=50 * MS)


@given(st.lists(st.tuples(st.floats(0.01, 3), st.floats(0.01, 3)), max_size=12), st.integers(1, 40))
@settings(max_examples=60, deadline=None)
def test_the_covered_shares_add_up_to_the_time_covered(lengths, count):
    start, end, at = [], [], -2.0
    for silence, length in lengths:
        start.append(at + silence)
        end.append(at := at + silence + length)
    share = covered_share(np.array(start), np.array(end), count)
    inside = np.clip(end, 0, count) - np.clip(start, 0, count)
    assert share.sum() == pytest.approx(inside.sum())
    assert np.all((share >= 0) & (share <= 1))


def test_a_burst_of_a_column_and_a_half_fills_one_and_half_of_the_next():
    assert covered_share(np.array([2.0]), np.array([3.5]), 5).tolist() == [0, 0, 1, 0.5, 0]
    assert covered_share(np.array([1.25]), np.array([1.5]), 3).tolist() == [0, 0.25, 0]


class Growing:
    """A session of noise that grows: what a strip asks of its reader."""

    def __init__(self):
        self.facts = SimpleNamespace(rate_hz=RATE_HZ)
        self.burst_columns = BurstColumns()
        self._anchors = [Anchor(0, 0, 0, 0)]
        self._sound = np.random.default_rng(5).normal(0, 1000, 60 * RATE_HZ).astype(np.int16)
        self.reads = 0
        self.audio = self
        self.hear(0.0)

    def hear(self, until_s, *more):
        """Sound up to a moment and a little further, and anchors."""
        self.samples = round((until_s + 0.01) * RATE_HZ)
        self._anchors += more
        self.clock = AudioClock(RATE_HZ, self._anchors, self.samples)

    def read(self, first, count):
        self.reads += 1
        return self._sound[first : min(first + count, self.samples)]

    def say(self, *bursts_ms):
        row = len(self.burst_columns)
        self.burst_columns.extend(
            [
                (row + k, round(a * MS), round(b * MS), way, b"x", None)
                for k, (a, b, way) in enumerate(bursts_ms)
            ]
        )


def polls(until_s, every_ms=200):
    """A request of 12 ms and a reply of 30, each 200 ms, lying on no grid."""
    for k in range(int(until_s * 1000 / every_ms)):
        at = 17 + every_ms * k + 13 * (k % 3)
        yield at, at + 12, "tx"
        yield at + 20, at + 50.5, "rx"


def settled(strip, at_ms):
    """The strip when the moment stands still: then nothing waits."""
    strip.make(VIEW, at_ms * MS, 0.0, ())
    return strip.make(VIEW, at_ms * MS, 0.0, ())


def alike(one, other):
    assert (one.start_ns, one.head) == (other.start_ns, other.head)
    np.testing.assert_allclose(one.tx_share, other.tx_share, atol=1e-9)
    np.testing.assert_allclose(one.rx_share, other.rx_share, atol=1e-9)
    np.testing.assert_array_equal(one.tx, one.tx_share > 0)
    np.testing.assert_array_equal(one.rx, one.rx_share > 0)
    np.testing.assert_allclose(one.envelope_dbfs, other.envelope_dbfs, atol=1e-4)


@pytest.mark.parametrize("delay_ms", [0, 300], ids=["told at once", "told late"])
def test_a_strip_that_grew_look_by_look_is_the_one_made_at_once(delay_ms):
    session, told = Growing(), list(polls(9))
    strip = StripMaker(session)
    for at_ms in range(0, 9000, 85):
        session.hear(at_ms / 1000)
        while told and told[0][1] + delay_ms <= at_ms:
            session.say(told.pop(0))
        strip.make(VIEW, at_ms * MS, 0.0, ())
    session.hear(9.0)
    session.say(*told)
    grown = settled(strip, 9000)
    alike(grown, settled(StripMaker(session), 9000))
    assert np.isfinite(grown.envelope_dbfs).all()
    assert grown.tx.sum() >= 10


@given(st.lists(st.tuples(st.integers(0, 4000), st.integers(0, 5)), min_size=1, max_size=25), st.data())
@settings(max_examples=40, deadline=None)
def test_moments_in_any_order_show_what_a_strip_made_for_them_shows(moments, data):
    session = Growing()
    session.hear(5.0)
    strip = StripMaker(session)
    waiting = data.draw(st.permutations(list(polls(5))))
    for at_ms, count in moments:
        session.say(*[waiting.pop() for _ in range(min(count, len(waiting)))])
        alike(settled(strip, at_ms), settled(StripMaker(session), at_ms))


def test_letting_go_of_old_bursts_changes_nothing_on_the_strip():
    session = Growing()
    session.say(*polls(20))
    session.hear(19.0)
    strip = StripMaker(session)
    strip.make(VIEW, 18_900 * MS, 0.0, ())
    session.burst_columns.forget_before(12 * NS)
    session.say((18_950, 18_990, "tx"))
    alike(settled(strip, 19_000), settled(StripMaker(session), 19_000))


def test_columns_before_a_latency_that_moves_keep_their_sound():
    session = Growing()
    session.hear(5.0)
    strip = StripMaker(session)
    before = strip.make(VIEW, 5 * NS, 0.0, ()).envelope_dbfs
    session.reads = 0
    after = strip.make(VIEW, 4_937 * MS, 0.063, ()).envelope_dbfs
    kept = np.arange(98 - 38, 98) % 40  # the two columns at the other end came back
    np.testing.assert_array_equal(after[kept], before[kept])
    assert session.reads == 1


def test_sound_is_worked_out_a_few_columns_at_a_time():
    session = Growing()
    session.hear(3.0)
    strip = StripMaker(session)
    strip.make(VIEW, 3 * NS, 0.0, ())
    session.reads = 0
    for at_ms in range(3100, 5001, 100):
        session.hear(at_ms / 1000)
        made = strip.make(VIEW, at_ms * MS, 0.0, ())
        assert np.isnan(made.envelope_dbfs).sum() <= 2  # a tenth of a second
    assert session.reads == 10


def test_a_gap_stays_empty_and_is_not_looked_into_for_ever():
    session = Growing()
    session.hear(6.0, Anchor(1, 3 * RATE_HZ, 4 * NS, 0))  # a second without sound after three
    strip = StripMaker(session)
    gap = np.arange(60, 80) % 40
    for at_ms in range(3000, 5001, 100):
        made = strip.make(VIEW, at_ms * MS, 0.0, ())
    strip.make(VIEW, 5 * NS, 0.0, ())
    assert np.flatnonzero(np.isnan(made.envelope_dbfs)).tolist() == sorted(gap.tolist())
    later = 5 * NS + PATIENCE_NS
    strip.make(VIEW, later, 0.0, ())
    session.reads, session.clock = 0, None  # nothing is asked of it
    strip.make(VIEW, later, 0.0, ())
    assert session.reads == 0


def test_marks_lie_in_their_columns_while_these_are_on_the_strip():
    session = Growing()
    session.hear(5.0)
    marks = tuple(
        Mark(number, at_ms * MS, at_ms * MS, MarkKind.PLAIN, "", "", "")
        for number, at_ms in enumerate((10, 2_999, 3_000, 4_999, 5_000))
    )
    made = StripMaker(session).make(VIEW, 5 * NS, 0.0, marks)
    assert made.marks == ((60 % 40, marks[2]), (99 % 40, marks[3]))
