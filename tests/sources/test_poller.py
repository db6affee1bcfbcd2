"""The poller over real pyserial and real pseudo-terminals."""

from __future__ import annotations

import queue
import threading
import time

import pytest

from telltick.model.plan import PollPlan
from telltick.model.tap import LineChange
from telltick.model.traffic import Direction, PollOutcome
from telltick.model.trial import drawn_slot
from telltick.sources import poller as poller_module
from telltick.sources.bench.pty_line import line_baud
from telltick.sources.poller import Poller
from telltick.sources.serial_port import open_port
from tests.sources.far_end import PATIENCE_S, FarEnd, Heard, poller_for

CHAR_NS = 10 / 9600 * 1e9


@pytest.fixture
def far():
    end = FarEnd()
    yield end
    end.hang_up()


@pytest.fixture
def heard():
    return Heard()


@pytest.fixture
def polling(far, heard):
    """Starts pollers on the far end's line and stops them afterwards."""
    started = []

    def start(on_rate=lambda *_: None, on_change=lambda _: None, **plan):
        options = {
            "frame_text": "Q1;",
            "interval_s": 0.05,
            "jitter_ms": 2.0,
            "reply_terminator": "3b",
            **plan,
        }
        opened = threading.Event()

        def open_and_tell(plan):
            port = open_port(plan)
            opened.set()
            return port

        poller = poller_for(
            PollPlan(**{"port": far.path, **options}),
            heard,
            open_and_tell,
            on_rate=on_rate,
            on_change=on_change,
        )
        started.append(poller)
        poller.start()
        assert opened.wait(timeout=PATIENCE_S)
        return poller

    yield start
    for poller in started:
        poller.stop()


def test_a_reply_is_taken_up_to_its_terminator(far, heard, polling):
    polling()
    assert far.hear(3) == b"Q1;"
    far.say(b"Q1 0042;")
    poll = heard.poll()
    sent, answered = heard.burst(), heard.burst()
    assert (poll.number, poll.outcome) == (0, PollOutcome.REPLY)
    assert (sent.direction, sent.data, sent.poll) == (Direction.TX, b"Q1;", 0)
    assert (answered.direction, answered.data, answered.poll) == (Direction.RX, b"Q1 0042;", 0)
    assert sent.end_ns - sent.start_ns == pytest.approx(3 * CHAR_NS, abs=1)
    assert answered.end_ns - answered.start_ns >= 8 * CHAR_NS - 1
    assert poll.sent_ns == sent.start_ns >= poll.due_ns


def test_a_reply_is_taken_up_to_its_length(far, heard, polling):
    polling(reply_terminator=None, reply_bytes=5)
    far.hear(3)
    far.say(b"12345")
    assert heard.poll().outcome is PollOutcome.REPLY
    assert heard.burst(Direction.RX).data == b"12345"


def test_a_reply_ends_with_silence(far, heard, polling):
    polling(reply_terminator=None, reply_silence_ms=20, reply_timeout_ms=5000)
    far.hear(3)
    far.say(b"any length")
    assert heard.poll().outcome is PollOutcome.REPLY
    assert heard.burst(Direction.RX).data == b"any length"


def test_without_an_awaited_reply_requests_go_out_and_answers_are_journalled_all_the_same(
    far, heard, polling
):
    polling(reply_terminator=None)
    far.hear(3)
    far.say(b"unasked")
    first = heard.poll()
    assert (first.outcome, first.reply_ns) == (PollOutcome.REPLY, None)
    assert heard.burst(Direction.RX).data == b"unasked"
    assert heard.troubles.empty()


def test_a_radio_that_stays_silent_times_out_and_is_polled_again(far, heard, polling):
    polling(reply_timeout_ms=20)
    assert [heard.poll().outcome for _ in range(3)] == [PollOutcome.TIMEOUT] * 3
    assert far.hear(9) == b"Q1;" * 3


def test_a_reply_that_stops_half_way_is_journalled_and_counted(far, heard, polling):
    polling(reply_timeout_ms=40)
    far.hear(3)
    far.say(b"Q1 00")
    assert heard.poll().outcome is PollOutcome.TIMEOUT
    assert heard.burst(Direction.RX).data == b"Q1 00"
    assert heard.trouble()[0] == "incomplete reply"


def test_a_reply_after_the_timeout_is_journalled_with_its_poll_and_counted_as_late(far, heard, polling):
    polling(reply_timeout_ms=10, interval_s=0.3)
    far.hear(3)
    assert heard.poll().outcome is PollOutcome.TIMEOUT
    far.say(b"Q1 0042;")
    late = heard.burst(Direction.RX)
    assert (late.data, late.poll) == (b"Q1 0042;", 0)
    assert heard.trouble()[0] == "late reply"


def test_bytes_after_the_reply_are_journalled_as_a_burst_of_their_own(far, heard, polling):
    polling()
    far.hear(3)
    far.say(b"Q1 0042;\xff\x00\xff")
    assert heard.burst(Direction.RX).data == b"Q1 0042;"
    assert heard.burst(Direction.RX).data == b"\xff\x00\xff"
    assert heard.trouble()[0] == "serial garbage"


def test_bytes_before_any_request_belong_to_no_poll(far, heard, polling):
    polling(enabled=False)
    far.say(b"hello")
    burst = heard.burst()
    assert (burst.data, burst.direction, burst.poll) == (b"hello", Direction.RX, None)


def test_after_a_stop_no_request_begins(far, heard, polling):
    poller = polling(reply_terminator=None, interval_s=0.01)
    far.hear(30)
    poller.set_polling(False)
    stopped_ns = time.monotonic_ns()
    far.hear(10**6, within_s=0.2)
    poller.stop()
    sent = [b.start_ns for b in heard.bursts.queue if b.direction is Direction.TX]
    assert sent
    assert max(sent) <= stopped_ns
    assert not poller.polling


def test_a_stop_and_a_start_take_effect_in_the_middle_of_a_long_wait(far, heard, polling):
    poller = polling(reply_terminator=None, interval_s=3600)
    far.hear(3)
    poller.set_polling(False)
    poller.set_polling(True)
    assert far.hear(3) == b"Q1;"
    assert [heard.poll().number for _ in range(2)] == [0, 1]


def test_a_new_interval_takes_effect_in_the_middle_of_a_long_wait(far, polling):
    poller = polling(reply_terminator=None, interval_s=3600)
    far.hear(3)
    poller.set_interval(0.02)
    assert far.hear(9) == b"Q1;" * 3
    assert poller.interval_s == 0.02


def test_a_new_rate_reaches_the_line_and_the_length_of_bursts(far, heard, polling):
    poller = polling(reply_terminator=None)
    far.hear(3)
    poller.set_baud(19200)
    while (burst := heard.burst()).end_ns - burst.start_ns > 2 * CHAR_NS:
        pass
    assert burst.end_ns - burst.start_ns == pytest.approx(1.5 * CHAR_NS, abs=1)
    assert (poller.baud, line_baud(far.fd, 0)) == (19200, 19200)


@pytest.mark.parametrize(("setter", "value"), [("set_interval", 0.0), ("set_interval", 1e9), ("set_baud", 3)])
def test_settings_that_cannot_be_are_refused_and_change_nothing(far, polling, setter, value):
    poller = polling(enabled=False)
    with pytest.raises(ValueError, match="must be"):
        getattr(poller, setter)(value)
    assert (poller.interval_s, poller.baud) == (0.05, 9600)


def test_in_a_coin_trial_each_poll_goes_into_the_slot_drawn_for_it(far, heard, polling):
    poller = polling(reply_terminator=None, interval_s=0.3)
    far.hear(3)
    before = heard.poll().number
    rhythm = poller.start_trial()
    drawn = [heard.draw() for _ in range(4)]
    sent = [heard.poll() for _ in range(4)]
    assert [poll.number for poll in sent] == [one.poll for one in drawn]
    assert sent[0].number == before + 1
    for poll, one in zip(sent, drawn, strict=True):
        assert one.slot == drawn_slot(1, 0, one.cycle, rhythm.slots)
        assert poll.due_ns == one.cycle_ns + one.slot * rhythm.slot_ns <= poll.sent_ns
    poller.stop_trial()
    assert poller.trial is None


def test_a_new_interval_during_a_coin_trial_begins_a_new_leg_with_slots_of_its_own(far, heard, polling):
    poller = polling(reply_terminator=None, interval_s=0.3)
    far.hear(3)
    heard.poll()
    first = poller.start_trial()
    assert heard.draw().leg == 0
    poller.set_interval(1.2)
    while (drawn := heard.draw()).leg == 0:
        pass
    assert (drawn.leg, drawn.cycle) == (1, 0) or drawn.cycle > 0
    assert drawn.slots > first.slots


def test_slots_hold_a_whole_poll_even_when_no_reply_has_been_seen(polling):
    poller = polling(reply_timeout_ms=90, interval_s=0.1)
    rhythm = poller.start_trial()
    assert rhythm.stretched
    assert rhythm.slot_ns >= 90_000_000


def test_a_coin_trial_that_nobody_ends_ends_by_itself_and_steady_polling_goes_on(
    far, heard, polling, monkeypatch
):
    monkeypatch.setattr(poller_module, "MOST_CYCLES", 3)
    told: queue.SimpleQueue[LineChange] = queue.SimpleQueue()
    poller = polling(reply_terminator=None, on_change=told.put)
    poller.start_trial()
    change = told.get(timeout=PATIENCE_S)
    assert (change.factor, change.value, change.note) == ("coin trial", "off", "3 cycles are over")
    assert poller.trial is None
    assert poller.polling
    drawn = [heard.draws.get_nowait().cycle for _ in range(heard.draws.qsize())]
    assert drawn
    assert max(drawn) < 3
    last = heard.polls.qsize()
    assert [heard.poll() for _ in range(last + 2)][-1].number >= last


def test_a_coin_trial_needs_polling_and_runs_once(polling):
    poller = polling(enabled=False)
    with pytest.raises(ValueError, match="polling is off"):
        poller.start_trial()
    with pytest.raises(ValueError, match="no coin trial is running"):
        poller.stop_trial()
    poller.set_polling(True)
    poller.start_trial()
    with pytest.raises(ValueError, match="already running"):
        poller.start_trial()


def test_poll_numbers_continue_where_they_were_told_to(far, heard):
    plan = PollPlan(port=far.path, frame_text="Q1;", interval_s=0.02)
    poller = poller_for(plan, heard, open_port, first_number=1000)
    poller.start()
    assert [heard.poll().number for _ in range(3)] == [1000, 1001, 1002]
    poller.stop()


def test_a_port_that_vanishes_and_comes_back_is_told_once_each_and_polled_on(tmp_path, heard, monkeypatch):
    monkeypatch.setattr(poller_module, "RETRY_S", 0.02)
    link = tmp_path / "radio"
    first, second = FarEnd(), FarEnd()
    link.symlink_to(first.path)
    poller = poller_for(PollPlan(port=str(link), frame_text="Q1;", interval_s=0.02), heard, open_port)
    poller.start()
    first.hear(6)
    first.hang_up()
    assert heard.trouble()[0] == "serial lost"
    link.unlink()
    link.symlink_to(second.path)
    assert heard.trouble()[0] == "serial back"
    assert second.hear(6) == b"Q1;Q1;"
    poller.stop()
    numbers = [poll.number for poll in heard.polls.queue]
    assert numbers == list(range(len(numbers)))
    assert heard.troubles.empty()
    second.hang_up()


def test_stopping_lets_the_reply_under_way_come_in_and_frees_the_port(far, heard, polling):
    poller = polling(reply_timeout_ms=60_000)
    far.hear(3)
    far.say(b"Q1 0")
    poller.stop()
    assert heard.burst(Direction.RX).data == b"Q1 0"
    open_port(PollPlan(port=far.path, frame_text="?")).close()


def test_a_loop_back_url_is_a_cable_that_echoes_and_nobody_answers(heard):
    plan = PollPlan(
        port="loop://", frame_text="Q1;", interval_s=0.02, reply_terminator="3b", reply_timeout_ms=20
    )
    poller = poller_for(plan, heard, open_port)
    poller.start()
    polls = [heard.poll() for _ in range(3)]
    poller.stop()
    assert {poll.outcome for poll in polls} == {PollOutcome.TIMEOUT}
    assert heard.trouble()[0] == "echo"
    assert {burst.direction for burst in heard.bursts.queue} == {Direction.TX}


def test_once_a_stop_is_answered_no_byte_is_handed_to_the_port():
    answered = threading.Event()
    early: list[bool] = []
    stoppers: list[threading.Thread] = []

    class SlowPort:
        """Another thread asks to stop while a request is being written."""

        baudrate, in_waiting = 9600, 0

        def read(self, size: int = 1, /) -> bytes:
            return b""

        def write(self, data: bytes, /) -> int:
            stoppers.append(threading.Thread(target=stop))
            stoppers[-1].start()
            early.append(answered.wait(0.05))
            return len(data)

        def close(self) -> None:
            pass

    def stop() -> None:
        poller.set_polling(False)
        answered.set()

    poller = Poller(
        PollPlan(port="/dev/none", frame_text="Q1;", reply_terminator="3b", reply_timeout_ms=10),
        open_port=lambda _: SlowPort(),
        clock_ns=time.monotonic_ns,
        seed=1,
        on_burst=lambda _: None,
        on_poll=lambda _: None,
        on_trouble=lambda *_: None,
    )
    poller.start()
    assert answered.wait(PATIENCE_S)
    poller.stop()
    assert early == [False]


def test_what_became_of_a_new_rate_is_told_and_the_present_one_too(far, polling, monkeypatch):
    told: queue.Queue[tuple[int, str]] = queue.Queue()
    poller = polling(enabled=False, on_rate=lambda *answer: told.put(answer[:2]))
    poller.set_baud(19200)
    assert told.get(timeout=PATIENCE_S) == (19200, "")
    poller.set_baud(19200)
    assert told.get(timeout=PATIENCE_S) == (19200, "")
    monkeypatch.setattr(
        "telltick.sources.conversation.Conversation.set_baud", lambda self, baud: "the port refuses"
    )
    poller.set_baud(4800)
    assert told.get(timeout=PATIENCE_S) == (19200, "the port refuses")
    poller.set_baud(19200)
    assert told.get(timeout=PATIENCE_S) == (19200, "")
    assert poller.baud == 19200


def test_the_other_request_is_sent_when_asked_for_and_nothing_else_ever(far, heard, polling):
    poller = polling(unanswered_text="Z1;", reply_timeout_ms=10)
    assert far.hear(3) == b"Q1;"
    poller.set_request(unanswered=True)
    sent = [heard.burst().data]
    while sent[-1] != b"Z1;":
        sent.append(heard.burst().data)
    poller.set_request(unanswered=False)
    while sent[-1] != b"Q1;":
        sent.append(heard.burst().data)
    assert set(sent) == {b"Q1;", b"Z1;"}


def test_without_another_request_in_the_plan_none_is_made_up(polling):
    with pytest.raises(ValueError, match="add unanswered_text"):
        polling().set_request(unanswered=True)
