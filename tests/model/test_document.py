"""Session time on the timeline of the audio."""

from __future__ import annotations

import numpy as np

from telltick.model.clock import NS, Anchor, AudioClock

RATE = 48_000
CLOCK = AudioClock(RATE, [Anchor(0, 0, NS, 0), Anchor(1, 10 * RATE, 13 * NS, 0)], 20 * RATE)


def test_inside_the_audio_it_is_the_sample_over_the_rate():
    np.testing.assert_allclose(CLOCK.nearest_s([NS, 3 * NS, 14 * NS]), [0, 2, 11])


def test_in_a_gap_it_is_where_audio_comes_back():
    np.testing.assert_allclose(CLOCK.nearest_s([11 * NS, 12 * NS, 13 * NS]), [10, 10, 10])


def test_outside_all_audio_it_is_the_nearest_end():
    np.testing.assert_allclose(CLOCK.nearest_s([0, 99 * NS]), [0, 20])


def test_without_anchors_it_is_not_known():
    assert np.isnan(AudioClock(RATE).nearest_s([5]))[0]


def test_a_clock_that_grew_equals_one_made_anew():
    grown = AudioClock(RATE, [Anchor(0, 0, NS, 0), Anchor(1, 10 * RATE, 13 * NS, 0)], 12 * RATE)
    t = np.arange(0, 30 * NS, NS // 7)
    np.testing.assert_array_equal(grown.ending_at(20 * RATE).sample_at(t), CLOCK.sample_at(t))
    assert grown.runs[-1][1] == 12 * RATE
