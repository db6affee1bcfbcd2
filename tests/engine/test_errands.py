"""What viewers ask of a recorder: done or refused, answered every time, and marked only when it happened."""

from __future__ import annotations

import time

import pytest

from telltick.engine.errands import Errands, RateAnswer
from telltick.engine.inputs import Inputs
from telltick.engine.recorder import Recorder, record
from telltick.model.plan import PollPlan
from telltick.model.session import Ending, Request, Verb
from telltick.sources.poller import Poller
from telltick.sources.serial_port import open_port
from telltick.store.journal import Journal
from telltick.store.session import SessionReader
from tests.engine.test_recorder import FACTS, ShortSource

PLAN = PollPlan(port="loop://", frame_text="RF;", interval_s=0.05, reply_terminator="3b", reply_timeout_ms=20)


class Port:
    """A silent radio on a port that takes some rates only."""

    def __init__(self, *rates: int) -> None:
        self._rates, self._baud = rates, 9600

    @property
    def baudrate(self) -> int:
        return self._baud

    @baudrate.setter
    def baudrate(self, baud: int) -> None:
        if baud not in self._rates:
            raise ValueError("no such rate")
        self._baud = baud

    in_waiting = 0

    def read(self, size: int = 1, /) -> bytes:
        time.sleep(0.001)
        return b""

    def write(self, data: bytes, /) -> int:
        return len(data)

    def close(self) -> None:
        pass


def asked(
    folder, *asks: tuple[Verb, str], port=None, wait: int | None = None
) -> tuple[Ending, SessionReader]:
    """A recording that is asked for things as soon as it runs, and to finish once `wait` are answered."""
    inputs = Inputs(ShortSource(ends=False), PLAN, open_port if port is None else lambda _: port)

    def ready() -> None:
        with Journal.open(folder) as journal:
            for verb, value in asks:
                journal.add_request(0, verb, value)

    class Stop:
        """Asked once each turn: ends the recording when the answers are there."""

        @property
        def how(self) -> str:
            with SessionReader(folder) as reader:
                return "signal" if len(reader.outcomes) >= (len(asks) if wait is None else wait) else ""

    ending = record(Recorder(folder, FACTS, inputs, seconds=60.0, stop=Stop(), on_ready=ready))
    return ending, SessionReader(folder)


def marks(reader: SessionReader) -> list[tuple[str, str]]:
    return [(mark.factor, mark.value) for mark in reader.marks]


def test_a_rate_that_the_port_takes_is_marked_when_it_is_there(tmp_path):
    _, reader = asked(tmp_path, (Verb.SET_BAUD, "19200"), port=Port(9600, 19200))
    assert [(outcome.done, outcome.note) for outcome in reader.outcomes] == [(True, "baud: 19200")]
    assert marks(reader) == [("baud", "19200")]


def test_a_rate_that_the_port_refuses_is_refused_with_its_words_and_leaves_no_mark(tmp_path):
    _, reader = asked(tmp_path, (Verb.SET_BAUD, "31337"), port=Port(9600))
    (outcome,) = reader.outcomes
    assert not outcome.done
    assert outcome.note == "loop:// stays at 9600 baud: no such rate"
    assert marks(reader) == []


def _two_rates_asked() -> tuple[Errands, list[tuple[int, str]]]:
    """Two rates are asked for before the port has answered; nothing runs."""
    poller = Poller(
        PLAN,
        open_port=open_port,
        clock_ns=lambda: 0,
        seed=1,
        on_burst=lambda _: None,
        on_poll=lambda _: None,
        on_trouble=lambda *_: None,
    )
    marked: list[tuple[int, str]] = []
    errands = Errands(poller, None, None, lambda: 0, lambda t_ns, change: marked.append((t_ns, change.value)))
    for number, baud in ((1, "4800"), (2, "19200")):
        assert errands.carry_out(Request(number, 0, Verb.SET_BAUD, baud)) is None
    return errands, marked


def test_each_of_two_rates_that_the_port_takes_is_marked_and_answered_for_itself():
    errands, marked = _two_rates_asked()
    (first,) = errands.rate_answered(RateAnswer(5, 4800, "", ask=1))
    (second,) = errands.rate_answered(RateAnswer(9, 19200, "", ask=2))
    assert marked == [(5, "4800"), (9, "19200")]
    assert [(one.request, one.done, one.t_ns) for one in (first, second)] == [(1, True, 5), (2, True, 9)]


def test_a_refusal_answers_the_rate_that_was_refused_and_not_the_one_asked_for_since():
    errands, marked = _two_rates_asked()
    (first,) = errands.rate_answered(RateAnswer(5, 9600, "no such rate", ask=1))
    assert (first.request, first.done) == (1, False)
    (second,) = errands.rate_answered(RateAnswer(9, 19200, "", ask=2))
    assert (second.request, second.done) == (2, True)
    assert marked == [(9, "19200")]


def test_a_rate_still_under_way_at_the_end_is_answered_too(tmp_path):
    def gone(_plan):
        raise OSError("unplugged")

    inputs = Inputs(ShortSource(ends=True), PLAN, gone)

    def ready() -> None:
        with Journal.open(tmp_path) as journal:
            journal.add_request(0, Verb.SET_BAUD, "19200")
            journal.add_request(0, Verb.FINISH)

    record(Recorder(tmp_path, FACTS, inputs, seconds=60.0, on_ready=ready))
    with SessionReader(tmp_path) as reader:
        assert {(one.request, one.done) for one in reader.outcomes} == {(1, False), (2, True)}
        assert "the session ended before" in next(one.note for one in reader.outcomes if not one.done)
        assert marks(reader) == []


def test_a_verb_that_nobody_knows_is_refused_and_the_recording_goes_on(tmp_path):
    ending, reader = asked(tmp_path, (Verb.UNKNOWN, ""), (Verb.STOP_POLLING, ""), port=Port(9600))
    assert ending.how == "signal"
    first, second = reader.outcomes
    assert (first.done, second.done) == (False, True)
    assert "does not know how to" in first.note


def test_a_word_written_by_a_newer_program_is_refused_by_name(tmp_path):
    def ready() -> None:
        with Journal.open(tmp_path) as journal:
            journal._insert("request", t_ns=0, verb="brew coffee", value="")
            journal.add_request(0, Verb.FINISH)

    inputs = Inputs(ShortSource(ends=False), None, open_port)
    assert record(Recorder(tmp_path, FACTS, inputs, seconds=60.0, on_ready=ready)).how == "requested"
    with SessionReader(tmp_path) as reader:
        assert [outcome.done for outcome in reader.outcomes] == [False, True]
        assert "'brew coffee'" in reader.outcomes[0].note


def test_a_port_that_blocks_every_request_is_journalled_now_and_then_with_a_count(tmp_path):
    class Garbling(Port):
        in_waiting = 1

        def read(self, size: int = 1, /) -> bytes:
            time.sleep(0.001)
            return b"\xff;"  # without end

    _, reader = asked(tmp_path, (Verb.SET_INTERVAL, "0.1"), (Verb.STOP_POLLING, ""), port=Garbling(9600))
    kinds = [note.kind for note in reader.health]
    assert len(kinds) <= 2 * len(set(kinds))  # one at once, and what was gathered till the end


@pytest.mark.parametrize("verb", [Verb.RESUME])
def test_what_makes_no_sense_now_is_refused(tmp_path, verb):
    _, reader = asked(tmp_path, (verb, ""), port=Port(9600))
    assert "nothing to resume" in reader.outcomes[0].note
