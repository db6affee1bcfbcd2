"""The room left for a recording: warnings in good time, and a stop that is told; the disk is the test's."""

from __future__ import annotations

import pytest

from telltick.engine import disk as disk_module
from telltick.engine.condition import HealthWatch
from telltick.engine.disk import DiskWatch
from telltick.model.clock import NS
from telltick.model.errors import StorageError
from telltick.model.session import Gap, GapKind, SessionFacts
from telltick.store.journal import Journal
from telltick.store.reserve import RESERVE_NAME
from telltick.store.segments import AudioReader
from telltick.store.session import SessionReader

RATE = 48_000
BYTES_PER_S = 2 * RATE + 2_000
FACTS = SessionFacts(name="t", started_wall_ns=0, rate_hz=RATE, source="sound card")


class FakeCapture:
    """Takes note of what it is told; refuses for a while when asked to."""

    def __init__(self) -> None:
        self.paused: list[GapKind] = []
        self.resumed = 0
        self.refusals = 0

    def pause(self, kind: GapKind, _note: str) -> None:
        if self.refusals:
            self.refusals -= 1
            raise StorageError("the disk is full")
        self.paused.append(kind)

    def resume(self) -> None:
        self.resumed += 1


class Scene:
    def __init__(self, folder, monkeypatch) -> None:
        self.folder = folder
        self.now_s = 0.0
        self.free = 10**12
        self.capture = FakeCapture()
        monkeypatch.setattr(disk_module, "free_bytes", lambda _: self.free)
        self.journal = Journal.create(folder, FACTS)
        self.watch = DiskWatch(folder, self.journal, self.capture, RATE, lambda: round(self.now_s * NS))

    def go(self, seconds: float, *, shrinks_by: float = 0.0) -> None:
        for _ in range(round(seconds)):
            self.now_s += 1
            self.free -= round(shrinks_by)
            self.watch.watch()

    def warnings(self) -> list[float]:
        with SessionReader(self.folder) as reader:
            return [note.value for note in reader.health if note.kind == "disk space"]


@pytest.fixture
def scene(tmp_path, monkeypatch):
    one = Scene(tmp_path, monkeypatch)
    yield one
    one.watch.close()
    one.journal.close()


def test_a_large_disk_gives_no_cause_for_words(scene):
    scene.go(100, shrinks_by=BYTES_PER_S)
    assert scene.warnings() == []


def test_a_warning_comes_once_for_each_limit_as_time_runs_out(scene):
    scene.free = BYTES_PER_S * 4000
    scene.go(3950, shrinks_by=BYTES_PER_S)
    hour, third, five, one = scene.warnings()
    assert 3500 < hour < 3600
    assert 1100 < third < 1200
    assert 200 < five < 300
    assert 40 < one < 60


def test_other_programs_that_fill_the_disk_count_too(scene):
    scene.free = BYTES_PER_S * 36_000  # ten hours if we were alone
    scene.go(60, shrinks_by=BYTES_PER_S * 50)
    (left_s,) = scene.warnings()
    assert left_s == pytest.approx(720, rel=0.1)


def test_space_that_comes_back_lets_it_warn_again(scene):
    scene.free = BYTES_PER_S * 200
    scene.go(20)
    scene.free = 10**12
    scene.go(20)
    scene.free = BYTES_PER_S * 200
    scene.go(90)
    assert len(scene.warnings()) >= 2


def test_a_stop_that_cannot_be_told_is_told_as_soon_as_it_can_be(scene):
    scene.capture.refusals = 3
    scene.watch.stop()
    assert scene.watch.full
    assert scene.capture.paused == []
    scene.go(5)
    assert scene.capture.paused == [GapKind.DISK_FULL]
    with SessionReader(scene.folder) as reader:
        assert [note.kind for note in reader.health] == ["disk full"]


def test_the_reserve_stands_while_recording_and_is_given_back_when_it_is_needed(scene):
    assert (scene.folder / RESERVE_NAME).exists()
    scene.watch.stop()
    assert not (scene.folder / RESERVE_NAME).exists()
    scene.watch.let_go(7)
    assert "7 bursts were not kept" in scene.watch.resume()
    assert (scene.folder / RESERVE_NAME).exists()
    assert scene.capture.resumed == 1


def test_going_on_needs_room_and_a_stop_before_it(scene):
    with pytest.raises(ValueError, match="nothing to resume"):
        scene.watch.resume()
    scene.watch.stop()
    scene.free = 100_000
    with pytest.raises(ValueError, match=r"0\.1 MB free"):
        scene.watch.resume()
    assert scene.watch.full


def test_the_screen_is_told_what_to_do(tmp_path):
    gap = Gap(GapKind.DISK_FULL, 0, 0, None)
    advice = HealthWatch(AudioReader(tmp_path, RATE)).at(0, (gap,), 0.0).advice
    assert "free some space" in advice
