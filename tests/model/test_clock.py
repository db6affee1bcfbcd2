"""The audio clock: arrivals in, one steady mapping out."""

from __future__ import annotations

import numpy as np
import pytest

from telltick.model.clock import NS, Anchor, ArrivalFilter, AudioClock

RATE = 48_000
BLOCK = 960


def arrivals(seconds: float, jitter_ms: float, seed: int, ppm: float = 0.0, delay_ms: float = 5.0):
    """(end sample, arrival ns) of blocks that come late by a floor plus random jitter."""
    rng = np.random.default_rng(seed)
    for k in range(1, int(seconds * RATE / BLOCK) + 1):
        end = k * BLOCK
        late_ms = delay_ms + jitter_ms * rng.random() ** 2
        yield end, int(end / RATE * (1 + ppm * 1e-6) * NS + late_ms * 1e6)


def test_the_filter_finds_the_lower_edge_of_jittering_arrivals_to_a_third_of_a_millisecond():
    mapping = ArrivalFilter(RATE)
    for end, arrival in arrivals(20, jitter_ms=9, seed=1):
        mapping.add(end, arrival)
    assert mapping.t_ns(0) == pytest.approx(5e6, abs=0.3e6)


def test_the_filter_follows_a_clock_that_drifts_by_100_ppm():
    mapping = ArrivalFilter(RATE)
    for end, arrival in arrivals(120, jitter_ms=9, seed=2, ppm=100):
        mapping.add(end, arrival)
    truth = 120 * (1 + 100e-6) * NS + 5e6
    assert mapping.t_ns(120 * RATE) == pytest.approx(truth, abs=1.2e6)  # ten seconds of drift is the memory


def test_a_filter_without_a_block_says_so():
    with pytest.raises(ValueError, match="no audio block"):
        ArrivalFilter(RATE).t_ns(0)


def test_time_and_sample_convert_back_and_forth():
    clock = AudioClock(RATE, [Anchor(0, k * RATE, (k + 3) * NS + 17, 0) for k in range(60)])
    samples = np.array([0, 1, 12_345, 48_000 * 30 + 7, 48_000 * 70])
    assert np.allclose(clock.sample_at(clock.t_at(samples)), samples, atol=1e-3)


def test_session_times_without_audio_map_to_nothing():
    first = [Anchor(0, 0, 1 * NS, 0), Anchor(0, RATE, 2 * NS, 0)]
    second = [Anchor(1, 2 * RATE, 10 * NS, 0)]
    clock = AudioClock(RATE, first + second, end_sample=4 * RATE)
    seconds = clock.sample_at([0.5 * NS, 1.5 * NS, 5 * NS, 11 * NS, 13 * NS]) / RATE
    assert np.isnan(seconds[[0, 2, 4]]).all()
    assert seconds[[1, 3]] == pytest.approx([0.5, 3.0])


def test_the_first_seconds_use_the_offset_found_once_the_filter_has_settled():
    early = [Anchor(0, k * RATE, k * NS + max(0, 5 - k) * 1_000_000, 0) for k in range(20)]
    clock = AudioClock(RATE, early)
    assert clock.t_at([0])[0] == 0


def test_a_clock_without_anchors_refuses_to_guess():
    with pytest.raises(ValueError, match="no audio clock anchors"):
        AudioClock(RATE).t_at([0])
    with pytest.raises(ValueError, match="no audio clock anchors"):
        AudioClock(RATE).t_ns(0)


def wandering(count, run=0, first=0):
    """Anchors a second apart, each some milliseconds late."""
    late = np.random.default_rng(7).integers(0, 5_000_000, count)
    return [Anchor(run, first + k * RATE, k * NS + int(late[k]) + run * 90 * NS, 0) for k in range(count)]


def same(one, other, until_s):
    t, samples = np.arange(0, until_s, 0.07) * NS, np.arange(0, until_s * RATE, 3331)
    np.testing.assert_array_equal(one.sample_at(t), other.sample_at(t))
    np.testing.assert_array_equal(one.t_at(samples), other.t_at(samples))
    assert one.runs == other.runs


@pytest.mark.parametrize("known", [12, 20, 39])
def test_a_clock_that_grows_by_anchors_is_the_one_made_of_all_of_them(known):
    anchors = wandering(40)
    grown = AudioClock(RATE, anchors[:known], 40 * RATE).with_more(anchors[known:])
    same(grown, AudioClock(RATE, anchors, 40 * RATE), 45)


@pytest.mark.parametrize(
    "more",
    [wandering(9)[8:], wandering(5, run=1, first=60 * RATE), wandering(20)[19:17:-1], wandering(14)[13:]],
    ids=["while it settles", "of a new run", "in no order", "known already"],
)
def test_a_clock_grows_by_no_anchor_that_would_alter_what_it_says_of_before(more):
    known = 8 if more[0].sample == 8 * RATE else 14
    assert AudioClock(RATE, wandering(14)[:known], 15 * RATE).with_more(more) is None


def test_the_time_of_one_sample_is_the_one_found_among_many():
    clock = AudioClock(RATE, [*wandering(14), *wandering(5, run=1, first=60 * RATE)], 70 * RATE)
    samples = [0, 7, 5 * RATE + 11, 13 * RATE, 20 * RATE, 60 * RATE, 62 * RATE + 1, 64 * RATE, 69 * RATE + 5]
    assert [clock.t_ns(sample) for sample in samples] == clock.t_at(samples).tolist()


@pytest.mark.parametrize("from_s", [0.0, 12.5, 13.5, 91.0, 94.5, 100.0])
def test_a_few_times_have_the_samples_that_they_have_among_many(from_s):
    clock = AudioClock(RATE, [*wandering(14), *wandering(5, run=1, first=60 * RATE)], 70 * RATE)
    t_ns = [(from_s + k * 0.05) * NS for k in range(6)]
    np.testing.assert_array_equal(clock.samples_at(t_ns), clock.sample_at(t_ns))
