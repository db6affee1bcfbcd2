from dataclasses import fields

import numpy as np
import pytest

from telltick.measure.banded import sums_of
from telltick.measure.rows import GrowingRows, PollRows, measure_rows
from telltick.model.traffic import Gate
from tests.scenes import make_scene, poll_gate


def fed_in_pieces(samples, rate_hz, gate, piece_s):
    """Rows measured the way a live view does it: audio grows, each call starts at `resume_s`."""
    parts, resume_s, end = [], 0.0, 0
    while end < len(samples):
        end = min(end + int(piece_s * rate_hz), len(samples))
        first = int(resume_s * rate_hz)
        known = gate.between(-1.0, end / rate_hz)
        part = measure_rows(samples[first:end], first, rate_hz, known)
        parts.append(part)
        resume_s = part.resume_s
    return PollRows.join(parts)


@pytest.mark.parametrize("rate", [0.3, 1.0, 5.0])
def test_live_and_offline_rows_have_the_same_digits(rate):
    scene = make_scene(3, seconds=20, rate=rate)
    gate = scene.gate.shifted(scene.latency_s)
    offline = measure_rows(scene.samples, 0, scene.rate_hz, gate)
    live = fed_in_pieces(scene.samples, scene.rate_hz, gate, 0.25)
    count = len(live.poll)
    assert count >= len(offline.poll) - 1
    for name in ("start_s", "end_s", "active", "quiet", "core", "gate_share"):
        assert np.array_equal(getattr(live, name), getattr(offline, name)[:count], equal_nan=True)


def test_the_gate_share_adds_up_to_the_time_bytes_flow():
    scene = make_scene(4, seconds=20)
    rows = measure_rows(scene.samples, 0, scene.rate_hz, scene.gate)
    polled = rows.poll >= 0
    assert rows.gate_share[polled] * rows.hop_s == pytest.approx(rows.on_s[polled], rel=1e-3)


def test_every_second_without_polls_is_a_row_of_its_own():
    rng = np.random.default_rng(0)
    gate = poll_gate(rng, 10.0, rate=5.0, first_s=8.0).between(8.0, 8.9)
    rows = measure_rows(np.zeros(20 * 8000, dtype=np.int16), 0, 8000, gate)
    idle = rows.poll < 0
    assert rows.polls == gate.polls
    assert np.all(rows.end_s[idle] - rows.start_s[idle] <= 1.0)
    assert np.all(rows.active_frames[idle] == 0)
    assert np.all(rows.start_s[1:] >= rows.end_s[:-1] - 1e-9)


def test_rows_without_any_poll_are_quiet_seconds():
    nobody = Gate(np.zeros(0), np.zeros(0), np.zeros(0, dtype=bool), np.zeros(0, dtype=np.int64))
    rows = measure_rows(np.ones(5 * 8000, dtype=np.int16), 0, 8000, nobody)
    assert rows.polls == 0
    assert rows.quiet_frames.sum() > 0


def test_between_takes_only_rows_wholly_inside():
    scene = make_scene(4, seconds=20)
    rows = measure_rows(scene.samples, 0, scene.rate_hz, scene.gate)
    some = rows.between(5.0, 10.0)
    assert some.start_s[0] >= 5.0
    assert some.end_s[-1] <= 10.0
    assert some.slot_row.max() == len(some.poll) - 1
    again = PollRows.join([rows.between(0, some.start_s[0]), some])
    assert np.array_equal(again.slots, rows.between(0, 10.0).slots)


def test_rows_that_grow_are_the_rows_joined_and_stay_as_they_were_handed_out():
    scene = make_scene(4, seconds=40)
    rows = measure_rows(scene.samples, 0, scene.rate_hz, scene.gate)
    parts = [sums_of(rows.between(begin_s, begin_s + 10.0))[0] for begin_s in (0.0, 10.0, 20.0, 30.0)]
    growing = GrowingRows(parts[0])
    growing.add(parts[1])
    early = growing.rows()
    for part in parts[2:]:
        growing.add(part)
    for found, joined in ((early, PollRows.join(parts[:2])), (growing.rows(), PollRows.join(parts))):
        for field in fields(PollRows):
            got, expected = getattr(found, field.name), getattr(joined, field.name)
            assert (
                np.array_equal(got, expected, equal_nan=True)
                if isinstance(got, np.ndarray)
                else (got == expected)
            )


def test_close_frames_are_quiet_ones_that_only_the_guard_kept_out():
    scene = make_scene(4, seconds=20, rate=10.0)
    gate = scene.gate.shifted(scene.latency_s)
    rows = measure_rows(scene.samples, 0, scene.rate_hz, gate)
    polled = rows.poll >= 0
    more = rows.with_close()
    # Guards of 4 ms on both sides become an overlap of 1 ms: 10 ms more to each poll, at 5.33 ms a frame.
    gained = np.mean(more.quiet_frames[polled] - rows.quiet_frames[polled])
    assert gained == pytest.approx(0.010 / rows.hop_s, abs=0.1)
    assert np.array_equal(more.quiet_frames - more.rim_frames, rows.quiet_frames - rows.rim_frames)
    assert np.allclose(more.quiet, rows.quiet + rows.close)
    assert rows.close[~polled].sum() == 0
