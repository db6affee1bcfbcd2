"""A saved session replayed: the picture follows the playhead, wherever it is put."""

from __future__ import annotations

import numpy as np
import pytest

from telltick.engine.replay import SavedFeed
from telltick.model.clock import NS
from telltick.model.errors import BadInputError, BadSessionError
from telltick.model.marks import MarkKind
from telltick.model.readings import Verdict
from telltick.model.snapshot import Phase, View
from telltick.sources.bench.script import Change
from telltick.store.folder import is_session
from telltick.store.journal import Journal
from telltick.store.session import SessionReader
from tests.engine.sessions import Hands, bench_facts, rendered, write_rendered, write_with_gap

VIEW = View(window_s=15.0)
SECONDS = 66.0
HANDS = (Hands(20.0, 24.0, "antenna", "dummy load"), Hands(44.0, 47.0, "antenna", "beam"))
CHANGES = tuple(Change((one.begun_s + one.done_s) / 2, one.factor, one.value) for one in HANDS)


class Clock:
    ns = 0

    def __call__(self) -> int:
        return self.ns

    def pass_s(self, seconds: float) -> None:
        self.ns += round(seconds * NS)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def folder(tmp_path):
    return write_rendered(tmp_path / "s", rendered(4, SECONDS, CHANGES), HANDS)


@pytest.fixture
def feed(folder, clock):
    feed = SavedFeed(folder, clock_ns=clock)
    yield feed
    feed.close()


def at(feed: SavedFeed, seconds: float):
    """The picture at a session time; long steps are measured over a few looks."""
    feed.seek(round(seconds * NS))
    for _ in range(3):
        picture = feed.look(VIEW)
    return picture


def test_it_plays_from_the_first_audio_to_the_end_and_stops_there(feed, clock):
    first = feed.look(VIEW)
    assert (first.phase, first.now_ns) == (Phase.PLAYING, 0)
    assert first.duration_ns == round(SECONDS * NS)
    clock.pass_s(10)
    assert feed.look(VIEW).now_ns == 10 * NS
    feed.set_speed(64)
    clock.pass_s(10)
    last = feed.look(VIEW)
    assert (last.phase, last.now_ns, last.speed) == (Phase.PAUSED, round(SECONDS * NS), 64)


def test_readings_at_the_playhead_are_those_of_the_step_it_stands_in(feed):
    truth = rendered(4, SECONDS, CHANGES).truth
    for seconds, index in ((18.0, 0), (42.0, 1), (64.0, 2)):
        picture = at(feed, seconds)
        assert picture.step.verdict is Verdict.TIED
        assert picture.step.excess_db.value == pytest.approx(truth[index].excess_db, abs=0.4)
        assert picture.window.excess_db.value == pytest.approx(truth[index].excess_db, abs=0.4)
        assert picture.latency.seconds.value == pytest.approx(0.063, abs=0.004)
        assert picture.setup["antenna"] == ("dummy load" if index == 1 else "beam")


def test_going_back_shows_the_same_picture_again(feed):
    before = at(feed, 18.0)
    at(feed, 60.0)
    again = at(feed, 18.0)
    assert again.step.polls == pytest.approx(before.step.polls, abs=1)  # rows begin where measuring began
    assert again.step.excess_db.value == pytest.approx(before.step.excess_db.value, abs=0.05)
    assert np.array_equal(again.strip.tx, before.strip.tx)
    assert np.array_equal(again.strip.rx, before.strip.rx)


def test_nothing_is_measured_while_hands_are_on(feed):
    picture = at(feed, 22.0)
    assert picture.step.excess_db is None
    assert any("Hands on" in warning for warning in picture.step.warnings)
    just_after = at(feed, 26.0)
    assert just_after.step.polls <= 10  # two seconds at 5 polls/s: none from before the change
    assert just_after.step_seconds == pytest.approx(2.0, abs=0.01)


def test_seeking_goes_from_mark_to_mark_and_stays_at_the_ends(feed):
    feed.toggle()
    places = []
    for direction in (1, 1, 1, -1, -1):
        feed.seek_mark(direction)
        places.append(feed.moment_ns() / NS)
    assert places == [20.0, 44.0, 44.0, 20.0, 20.0]


def test_a_playing_head_goes_back_past_the_mark_it_has_just_left(feed, clock):
    feed.seek_mark(1)
    feed.seek_mark(1)
    clock.pass_s(0.3)
    feed.seek_mark(-1)
    assert feed.moment_ns() == 20 * NS


def test_a_pause_holds_the_picture(feed, clock):
    clock.pass_s(30)
    feed.toggle()
    paused = feed.look(VIEW)
    clock.pass_s(100)
    assert feed.look(VIEW).now_ns == paused.now_ns
    assert paused.phase is Phase.PAUSED


def test_late_notes_are_kept_apart_and_change_no_measurement(feed, folder):
    before = at(feed, 18.0).step
    feed.seek(10 * NS)
    feed.toggle()
    feed.add_note("a heater in the next hut?")
    number = feed.open_change("choke")
    feed.settle_change(number, "on the cable")
    picture = at(feed, 18.0)
    late = [mark for mark in picture.marks if mark.late]
    assert [(mark.kind, mark.t_ns) for mark in late] == [(MarkKind.NOTE, 10 * NS), (MarkKind.CHANGE, 10 * NS)]
    assert picture.step.polls == before.polls
    assert picture.step.excess_db.value == pytest.approx(before.excess_db.value, abs=0.05)
    with SessionReader(folder) as reader:
        assert sum(not mark.late for mark in reader.marks) == 2
        assert reader.ending.how == "time is up"


def test_a_late_mark_can_be_undone_but_not_one_made_live(feed):
    feed.plain_mark()
    assert feed.undo().late
    assert feed.undo() is None
    assert len(feed.look(VIEW).marks) == 2


def test_a_locked_latency_stays_where_it_is_until_it_is_let_go(feed):
    found = at(feed, 18.0).latency
    feed.lock_latency(locked=True)
    for seconds in (18.0, 30.0, 60.0):
        held = at(feed, seconds)
        assert held.latency.locked
        assert held.latency.seconds.value == pytest.approx(found.seconds.value, abs=1e-6)
    assert held.window.verdict is Verdict.TIED
    feed.lock_latency(locked=False)
    again = at(feed, 60.0).latency
    assert not again.locked
    assert again.seconds.value == pytest.approx(found.seconds.value, abs=0.002)


def test_watching_writes_nothing_to_the_session(folder, clock):
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    feed = SavedFeed(folder, clock_ns=clock)
    at(feed, 30.0)
    feed.close()
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before


def test_the_playhead_passes_a_gap_and_measures_both_sides(tmp_path, clock):
    before, after = rendered(2, 30.0, latency_s=0.050), rendered(3, 30.0, latency_s=0.090)
    feed = SavedFeed(write_with_gap(tmp_path / "g", before, after, gap_s=4.0), clock_ns=clock)
    try:
        assert at(feed, 29.5).latency.seconds.value == pytest.approx(0.050, abs=0.004)
        in_gap = at(feed, 32.0)
        assert in_gap.now_ns == 32 * NS
        assert in_gap.health.gaps == 1
        assert in_gap.health.last_gap == "device lost: unplugged"
        beyond = at(feed, 63.0)
        assert beyond.latency.seconds.value == pytest.approx(0.090, abs=0.004)
        assert beyond.window.verdict is Verdict.TIED
        assert beyond.window.excess_db.value == pytest.approx(after.truth[0].excess_db, abs=0.5)
        assert at(feed, 29.5).latency.seconds.value == pytest.approx(0.050, abs=0.004)
    finally:
        feed.close()


def test_every_place_can_be_looked_at(feed):
    for seconds in np.linspace(0, SECONDS, 23):
        picture = at(feed, float(seconds))
        assert picture.now_ns == round(float(seconds) * NS)
        assert picture.strip is not None


@pytest.mark.parametrize("speed", [0.25, 65, float("nan")])
def test_other_speeds_are_refused(folder, speed):
    with pytest.raises(BadInputError, match=r"0\.5 to 64"):
        SavedFeed(folder, speed=speed)


def test_a_session_without_audio_cannot_be_replayed(tmp_path):
    with Journal.create(tmp_path, bench_facts()):
        pass
    assert is_session(tmp_path)
    with pytest.raises(BadSessionError, match="holds no audio"):
        SavedFeed(tmp_path)
