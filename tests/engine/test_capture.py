"""Audio into a session from a source that stalls, drops, dies and comes back; time is the test's."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from telltick.engine.capture import AudioCapture
from telltick.model.clock import NS
from telltick.model.errors import DeviceError
from telltick.model.session import GapKind, SessionFacts
from telltick.sources.audio import AudioBlock
from telltick.store.journal import Journal
from telltick.store.segments import AudioWriter
from telltick.store.session import SessionReader

RATE = 8_000
BLOCK = RATE // 50  # 20 ms
ZERO_NS = 5_000 * NS  # monotonic time of session time 0


class FakeSource:
    """A sound input in the hands of a test."""

    name = "fake input"
    rate_hz = RATE
    over = False

    def __init__(self) -> None:
        self.starts = self.tries = 0
        self.trouble: str | None = None
        self.refuses = False

    def start(self, sink: Callable[[AudioBlock], None]) -> None:
        self.tries += 1
        if self.refuses:
            raise DeviceError("the fake input is unplugged")
        self.starts += 1
        self.trouble = None

    def stop(self) -> None:
        pass

    def problem(self) -> str | None:
        return self.trouble


class Scene:
    """A capture at work; time moves only when the test says so."""

    def __init__(self, folder) -> None:
        self.folder = folder
        self.now_s = 1.0
        self.source = FakeSource()
        self.made = 0  # samples the receiver has played, lost ones included
        facts = SessionFacts(name="t", started_wall_ns=0, rate_hz=RATE, source="sound card")
        self.journal = Journal.create(folder, facts)
        writer = AudioWriter(folder, RATE)
        self.capture = AudioCapture(
            self.source, writer, self.journal, lambda _: None, now_ns=self.now_ns, zero_ns=ZERO_NS
        )
        self.capture.start()

    def now_ns(self) -> int:
        return round(self.now_s * NS)

    def samples(self) -> np.ndarray:
        """A ramp: every sample says which one it is."""
        ramp = (np.arange(self.made, self.made + BLOCK) % 30_000).astype(np.int16)
        self.made += BLOCK
        return ramp

    def play(self, seconds: float, *, late_s: float = 0.004, overflow: bool = False) -> None:
        """Blocks on time, `late_s` after their last sample."""
        for _ in range(round(seconds * RATE / BLOCK)):
            self.now_s += BLOCK / RATE
            arrival_ns = ZERO_NS + round((self.now_s + late_s) * NS)
            self.capture.take(AudioBlock(self.samples(), arrival_ns, overflow))
            self.capture.watch()
            overflow = False

    def lose(self, seconds: float) -> None:
        """Time in which the receiver plays and nothing arrives."""
        self.made += round(seconds * RATE)
        self.now_s += seconds

    def done(self) -> SessionReader:
        """What the session holds."""
        self.capture.close()
        self.journal.close()
        return SessionReader(self.folder)


@pytest.fixture
def scene(tmp_path) -> Scene:
    return Scene(tmp_path)


def heard(reader: SessionReader) -> np.ndarray:
    return reader.audio.read(0, reader.audio.samples)


def test_audio_is_written_as_it_came_with_an_anchor_each_second(scene):
    scene.play(5.5)
    reader = scene.done()
    assert np.array_equal(heard(reader), np.arange(5.5 * RATE) % 30_000)
    anchors = reader.anchors
    assert anchors[0].sample == 0
    assert len(anchors) == 6
    assert {anchor.run for anchor in anchors} == {0}
    assert reader.gaps == ()
    # Sample 0 was played at session time 1 s and every block came 4 ms after its last sample.
    assert reader.start_ns == pytest.approx(1.004 * NS, abs=1000)


def test_blocks_that_come_late_one_by_one_do_not_disturb_the_clock(scene):
    draw = np.random.default_rng(2)
    for late_s in draw.uniform(0.004, 0.012, 300):  # 3 to 9 ms of jitter is what PortAudio shows
        scene.play(BLOCK / RATE, late_s=float(late_s))
    reader = scene.done()
    assert reader.gaps == ()
    assert reader.start_ns == pytest.approx(1.004 * NS, abs=0.0005 * NS)


def test_an_overflow_is_a_gap_and_begins_a_new_run(scene):
    scene.play(2)
    scene.lose(0.1)
    scene.play(2, overflow=True)
    reader = scene.done()
    (gap,) = reader.gaps
    assert gap.kind is GapKind.OVERFLOW
    assert gap.sample == 2 * RATE
    assert (gap.end_ns - gap.start_ns) / NS == pytest.approx(0.1, abs=0.001)
    assert next(anchor.sample for anchor in reader.anchors if anchor.run == 1) == 2 * RATE
    after = reader.audio.read(2 * RATE, 1)[0]
    assert after == (2 * RATE + 0.1 * RATE) % 30_000


def test_an_overflow_of_a_few_samples_never_ends_before_it_began(scene):
    scene.play(2, late_s=0.012)
    scene.play(1, late_s=0.004, overflow=True)
    (gap,) = scene.done().gaps
    assert gap.end_ns >= gap.start_ns


def test_samples_that_go_missing_unsaid_are_found_by_the_clock_where_they_are_missing(scene):
    scene.play(3)
    scene.lose(0.3)
    scene.play(3)
    reader = scene.done()
    (gap,) = reader.gaps
    assert gap.kind is GapKind.STALLED
    assert gap.sample == 3 * RATE
    assert (gap.end_ns - gap.start_ns) / NS == pytest.approx(0.3, abs=0.001)
    clock = reader.clock
    # On both sides of the gap each sample is where it was played.
    assert clock.t_at([RATE])[0] == pytest.approx(2.004 * NS, abs=1000)
    assert clock.t_at([4 * RATE])[0] == pytest.approx(5.304 * NS, abs=1000)
    assert np.isnan(clock.sample_at([round(4.15 * NS)])[0])


def test_a_busy_machine_that_catches_up_loses_nothing_and_makes_no_gap(scene):
    scene.play(3)
    scene.now_s += 0.4  # nothing is taken from the input for a while; its samples wait
    waiting = scene.now_s
    for _ in range(20):
        scene.capture.take(AudioBlock(scene.samples(), ZERO_NS + round(waiting * NS)))
        scene.capture.watch()
    scene.play(1)
    reader = scene.done()
    assert reader.gaps == ()
    assert np.array_equal(heard(reader), np.arange(4.4 * RATE) % 30_000)


def test_blocks_in_doubt_when_the_recording_ends_are_kept(scene):
    scene.play(1)
    scene.lose(0.5)
    scene.play(0.1)
    reader = scene.done()
    assert reader.audio.samples == round(1.1 * RATE)
    assert [gap.kind for gap in reader.gaps] == [GapKind.STALLED]


def test_a_lost_device_is_a_gap_and_is_opened_again_when_it_is_back(scene):
    scene.play(2)
    scene.source.trouble = "no sound for 1.6 s"
    scene.source.refuses = True
    scene.lose(1.6)
    scene.capture.watch()
    for _ in range(4):
        scene.lose(1.0)
        scene.capture.watch()
    scene.source.refuses = False
    scene.lose(1.0)
    scene.capture.watch()
    scene.play(2)
    reader = scene.done()
    assert scene.source.starts == 2
    (gap,) = reader.gaps
    assert gap.kind is GapKind.DEVICE_LOST
    assert gap.note == "no sound for 1.6 s"
    assert (gap.start_ns / NS, gap.end_ns / NS) == pytest.approx((3.004, 9.604), abs=0.001)
    assert {anchor.run for anchor in reader.anchors} == {0, 1}
    refusals = [note for note in reader.health if note.kind == "audio not back"]
    assert [note.note for note in refusals] == ["the fake input is unplugged"]


def test_a_device_that_wakes_slowly_is_left_the_time_to_wake(scene):
    scene.play(2)
    scene.source.trouble = "no sound for 1.6 s"
    scene.lose(1.6)
    scene.capture.watch()
    for _ in range(round(3 / 0.02)):  # 1 s until it is opened anew, then 2 s until its first block
        scene.lose(0.02)
        scene.capture.watch()
    scene.play(2)
    assert scene.source.starts == 2
    reader = scene.done()
    assert reader.audio.samples == 4 * RATE
    (gap,) = reader.gaps
    assert (gap.end_ns - gap.start_ns) / NS == pytest.approx(4.6, abs=0.001)


def test_a_device_that_opens_and_stays_silent_is_opened_again(scene):
    scene.play(2)
    scene.source.trouble = "no sound for 1.6 s"
    for _ in range(round(11 / 0.02)):  # opened after 1 s, then every 4 s
        scene.lose(0.02)
        scene.capture.watch()
    assert scene.source.starts == 4


def test_a_lost_device_is_tried_once_a_second_and_told_of_every_ten_minutes(scene):
    scene.play(1)
    scene.source.trouble = "gone"
    scene.source.refuses = True
    for _ in range(1201):
        scene.lose(1.0)
        scene.capture.watch()
    assert scene.source.tries == 1201  # the first of them was the start
    assert len([note for note in scene.done().health if note.kind == "audio not back"]) == 2


def test_a_device_that_never_delivers_is_a_gap_from_the_start(scene):
    scene.source.trouble = "no sound for 1.6 s"
    scene.lose(2)
    scene.capture.watch()
    scene.lose(1)
    scene.capture.watch()
    scene.play(1)
    reader = scene.done()
    (gap,) = reader.gaps
    assert (gap.sample, gap.end_ns / NS) == (0, pytest.approx(4.004, abs=0.001))
    assert {anchor.run for anchor in reader.anchors} == {0}


def test_a_device_that_stays_away_leaves_its_gap_open(scene):
    scene.play(1)
    scene.source.trouble = "gone"
    scene.capture.watch()
    (gap,) = scene.done().gaps
    assert gap.end_ns is None


def test_clipped_samples_are_counted_in_the_journal_to_the_last_one(scene):
    scene.play(1)
    loud = np.zeros(BLOCK, dtype=np.int16)
    loud[:3], loud[3:5] = 32_767, -32_768
    scene.capture.take(AudioBlock(loud, ZERO_NS + round((scene.now_s + 0.024) * NS)))
    reader = scene.done()
    assert sum(note.value for note in reader.health if note.kind == "clipping") == 5


def test_a_source_that_is_over_is_not_opened_again(scene):
    scene.play(1)
    scene.source.over = True
    scene.source.trouble = "the file is over"
    scene.lose(5)
    scene.capture.watch()
    assert scene.source.starts == 1
    assert scene.done().gaps == ()
