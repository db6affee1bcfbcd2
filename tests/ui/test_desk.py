from dataclasses import replace

import pytest

from telltick.model.clock import NS
from telltick.model.errors import BadInputError, StorageError
from telltick.model.marks import MarkKind
from telltick.model.session import Verb
from telltick.model.snapshot import PollingState, View
from telltick.ui.desk import Desk, Question
from telltick.ui.factors import FACTORS
from telltick.ui.glyphs import UNICODE
from tests.ui.fake_feed import FakeFeed, FakeReplay


def desk_for(feed: FakeFeed) -> Desk:
    desk = Desk(feed, UNICODE)
    desk.snapshot = feed.look(View())
    return desk


def test_a_change_is_marked_before_anything_is_asked():
    feed = FakeFeed()
    question = desk_for(feed).begin_change("antenna")
    assert feed.marks[-1].hands_on
    assert feed.marks[-1].factor == "antenna"
    assert (question.was, question.mark) == ("beam", feed.marks[-1].number)


def test_offers_are_this_sessions_values_then_the_usual_ones_without_the_present():
    feed = FakeFeed()
    desk = desk_for(feed)
    for value in ("dummy load", "loop", "beam"):
        desk.answer(desk.begin_change("antenna"), value)
        desk.snapshot = feed.look(View())
    assert desk.begin_change("antenna").offers == ("loop", "dummy load", "antenna")


@pytest.mark.parametrize(
    ("factor", "words"),
    [
        ("antenna", "small dummy load"),
        ("supply", "Switch the radio and its supply off"),
        ("cable", "volume down"),
    ],
)
def test_changes_that_can_hurt_carry_a_caution(factor, words):
    assert words in desk_for(FakeFeed()).begin_change(factor).caution


def test_baud_and_interval_go_to_our_own_poller_without_hands_on_time():
    feed = FakeFeed()
    desk = desk_for(feed)
    question = desk.begin_change("baud")
    assert (question.mark, question.was, feed.marks) == (None, "9600", [])
    desk.answer(question, " 19200 ")
    desk.answer(desk.begin_change("poll interval"), "0.50")
    assert feed.asked == [(Verb.SET_BAUD, "19200"), (Verb.SET_INTERVAL, "0.5")]
    assert feed.marks == []


@pytest.mark.parametrize("factor", ["baud", "poll interval"])
def test_without_a_poller_of_ours_they_are_changes_like_others(factor):
    feed = FakeFeed()
    feed.polling = PollingState()
    desk = desk_for(feed)
    desk.answer(desk.begin_change(factor), "anything")
    assert (feed.marks[-1].factor, feed.marks[-1].value, feed.asked) == (factor, "anything", [])


@pytest.mark.parametrize(
    ("factor", "text"),
    [(f, t) for f in ("baud", "poll interval") for t in ("fast", "0", "-1", "nan", "inf", "1 2", "1e99")]
    + [("baud", "9600.5"), ("baud", "10"), ("poll interval", "0.001"), ("poll interval", "4000")],
)
def test_what_the_poller_cannot_follow_is_refused_and_not_asked(factor, text):
    feed = FakeFeed()
    desk = desk_for(feed)
    question = desk.begin_change(factor)
    with pytest.raises(BadInputError, match=r"must be a (whole )?number"):
        desk.answer(question, text)
    assert feed.asked == []


def test_leaving_a_change_keeps_a_plain_mark_where_it_began():
    feed = FakeFeed()
    desk = desk_for(feed)
    began = feed.now_ns
    sentence = desk.leave(desk.begin_change("cable"))
    assert (feed.marks[-1].kind, feed.marks[-1].t_ns) == (MarkKind.PLAIN, began)
    assert "plain mark" in sentence
    assert desk.leave(Question("note")) == ""


def test_undo_says_what_was_withdrawn():
    feed = FakeFeed()
    desk = desk_for(feed)
    desk.answer(desk.begin_change("antenna"), "loop")
    assert desk.undo() == "withdrawn: antenna: loop"
    assert feed.marks == []
    assert "nothing of yours" in desk.undo()


def test_redo_brings_back_what_was_withdrawn():
    feed = FakeFeed()
    desk = desk_for(feed)
    desk.answer(desk.begin_change("antenna"), "loop")
    desk.undo()
    assert desk.redo() == "stands again: antenna: loop"
    assert [mark.value for mark in feed.marks] == ["loop"]
    assert "nothing withdrawn" in desk.redo()


def test_a_latency_is_locked_and_let_go_by_one_key_and_not_before_there_is_one():
    feed = FakeFeed()
    desk = desk_for(feed)
    assert "locked at 83.0 ms" in desk.toggle_lock()
    desk.snapshot = feed.look(View())
    assert desk.toggle_lock() == "the latency is looked for again"
    assert feed.locked is False
    desk.snapshot = replace(desk.snapshot, latency=None)
    with pytest.raises(BadInputError, match="let some polls pass"):
        desk.toggle_lock()


def test_polling_is_toggled_by_asking_the_recorder():
    feed = FakeFeed()
    desk = desk_for(feed)
    assert "stop polling" in desk.toggle_polling()
    desk.snapshot = feed.look(View())
    assert "start polling" in desk.toggle_polling()
    feed.polling = PollingState()
    desk.snapshot = feed.look(View())
    with pytest.raises(BadInputError, match="no poller of its own"):
        desk.toggle_polling()


def test_a_full_disk_is_not_hidden():
    feed = FakeFeed()
    feed.write_fault = StorageError("the disk is full")
    with pytest.raises(StorageError):
        desk_for(feed).mark()


def test_in_replay_nothing_is_cautioned_or_asked_of_a_poller():
    feed = FakeReplay()
    desk = desk_for(feed)
    question = desk.begin_change("baud")
    assert (question.verb, question.late, question.caution) == (None, True, "")
    assert desk.begin_change("antenna").caution == ""
    assert all(mark.late for mark in feed.marks[-2:])
    assert not desk.records


def test_speed_doubles_and_halves_within_its_limits_even_between_pictures():
    feed = FakeReplay()
    desk = desk_for(feed)
    for _ in range(9):
        desk.change_speed(1)
    assert feed.speed == 64.0
    for _ in range(12):
        desk.change_speed(-1)
    assert feed.speed == 0.5


def test_seeks_between_two_pictures_add_up_and_stay_within_the_session():
    feed = FakeReplay(at_s=100.0, tick_s=0.0)
    desk = desk_for(feed)
    desk.seek_by(5)
    desk.seek_by(5)
    assert feed.now_ns == 110 * NS
    desk.seek_by(-5000)
    assert feed.now_ns == 0
    desk.seek_to(10**18)
    assert feed.now_ns == desk.snapshot.duration_ns


def test_every_factor_offers_something_or_names_its_unit():
    assert all(factor.usual or factor.unit for factor in FACTORS.values())
