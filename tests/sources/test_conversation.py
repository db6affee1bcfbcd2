"""Ports that misbehave, played by a port in memory with a clock of its own."""

from __future__ import annotations

import pytest
import serial

from telltick.model.plan import PollPlan
from telltick.model.traffic import Direction, Poll, PollOutcome
from telltick.sources.conversation import Conversation, Reports

PLAN = PollPlan(port="radio", frame_text="Q1;", reply_terminator="3b", reply_timeout_ms=50)


class Port:
    """Each read takes a millisecond and gives what the script says: bytes, nothing, or an error."""

    def __init__(self, *script, refuses_baud=False, blocked=False):
        self.now_ns, self._script, self._buffer = 0, list(script), b""
        self._baud, self._refuses, self._blocked = 9600, refuses_baud, blocked
        self.closed = False

    @property
    def baudrate(self):
        return self._baud

    @baudrate.setter
    def baudrate(self, baud):
        if self._refuses and baud != self._baud:
            raise ValueError("no such rate")
        self._baud = baud

    @property
    def in_waiting(self):
        return len(self._buffer)

    def read(self, size=1, /):
        if not self._buffer:
            self.now_ns += 1_000_000
            event = self._script.pop(0) if self._script else b""
            if isinstance(event, Exception):
                raise event
            self._buffer = event
        given, self._buffer = self._buffer[:size], self._buffer[size:]
        return given

    def write(self, data, /):
        if self._blocked:
            raise serial.SerialTimeoutException("Write timeout")
        return len(data)

    def close(self):
        self.closed = True


class Told:
    def __init__(self):
        self.bursts, self.polls, self.troubles = [], [], []

    def reports(self) -> Reports:
        return Reports(self.bursts.append, self.polls.append, lambda *trouble: self.troubles.append(trouble))


@pytest.fixture
def told():
    return Told()


def ask(port: Port, told: Told, plan: PollPlan = PLAN, hurry: bool = False) -> Conversation:
    talk = Conversation(port, plan, lambda: port.now_ns, told.reports())
    talk.ask(Poll(7, 0, port.now_ns, PollOutcome.ERROR), lambda: hurry)
    return talk


def test_a_reply_that_trickles_in_is_one_burst_with_its_true_span(told):
    ask(Port(b"Q1 ", b"", b"42", b";"), told)
    request, reply = told.bursts
    assert (request.direction, request.start_ns) == (Direction.TX, 0)
    assert (reply.data, reply.end_ns) == (b"Q1 42;", 4_000_000)
    assert told.polls[0].outcome is PollOutcome.REPLY


def test_the_wait_starts_anew_with_every_byte(told):
    ask(Port(*([b""] * 40 + [b"x"]) * 3, b";"), told)  # 123 ms in all, never 50 ms silent
    assert told.polls[0].outcome is PollOutcome.REPLY


def test_in_a_hurry_a_reply_is_given_up_early(told):
    patient = PollPlan(port="radio", frame_text="Q1;", reply_terminator="3b", reply_timeout_ms=60_000)
    port = Port()
    ask(port, told, patient, hurry=True)
    assert told.polls[0].outcome is PollOutcome.TIMEOUT
    assert port.now_ns < 300_000_000


def test_a_radio_that_never_ends_its_reply_is_cut_off(told):
    port = Port(*[b"x" * 100] * 1000)
    ask(port, told)
    assert told.polls[0].outcome is PollOutcome.TIMEOUT
    assert len(told.bursts[1].data) < 5000
    assert told.troubles[0][0] == "incomplete reply"


def test_a_handshake_that_holds_requests_back_is_told_and_does_not_lose_the_port(told):
    ask(Port(blocked=True), told)
    assert told.polls[0].outcome is PollOutcome.ERROR
    assert told.troubles[0][0] == "request blocked"
    assert told.bursts == []


def test_a_port_lost_in_the_middle_of_a_reply_keeps_what_had_come(told):
    with pytest.raises(OSError, match="gone"):
        ask(Port(b"Q1 4", OSError("gone")), told)
    assert [burst.data for burst in told.bursts] == [b"Q1;", b"Q1 4"]
    assert told.polls[0].outcome is PollOutcome.ERROR


def test_a_rate_that_the_port_refuses_is_told_and_the_old_one_stays(told):
    talk = ask(Port(b"R1;", refuses_baud=True), told)
    assert talk.set_baud(31_337) == "radio stays at 9600 baud: no such rate"
    assert talk.set_baud(9600) == ""
    assert talk.baud == 9600
    assert told.troubles == []


def test_bytes_left_over_are_told_when_the_port_is_closed(told):
    port = Port(b"R1;extra")
    talk = ask(port, told)
    talk.close()
    assert told.bursts[-1].data == b"extra"
    assert port.closed


# ---- one-wire cables


def heard_from_the_radio(told: Told) -> list[bytes]:
    return [burst.data for burst in told.bursts if burst.direction is Direction.RX]


@pytest.mark.parametrize(
    "pieces",
    [
        (b"", b"Q", b"1", b";", b"", b"", b"Q1 42;"),  # each byte handed back as it is sent: 9600 baud
        (b"", b"", b"Q1;Q1", b" 42;"),
        (*[b""] * 9, b"Q1;Q1 42;"),  # an adapter that gathers bytes for 10 ms
        (*[b""] * 30, b"Q1;", *[b""] * 15, b"Q1 42;"),  # later than its own length: the reply tells
    ],
)
def test_the_echo_of_a_one_wire_cable_is_told_and_not_taken_for_the_reply(told, pieces):
    ask(Port(*pieces), told)
    assert told.polls[0].outcome is PollOutcome.REPLY
    assert heard_from_the_radio(told) == [b"Q1 42;"]
    assert [kind for kind, _ in told.troubles] == ["echo"]


def test_an_echo_is_told_once_and_a_silent_radio_behind_it_times_out(told):
    port = Port(b"", b"Q1;")
    talk = ask(port, told)
    for number in (8, 9):
        port._script = [b"", b"Q1;"]
        talk.ask(Poll(number, 0, port.now_ns, PollOutcome.ERROR), lambda: False)
    talk.close()
    assert [poll.outcome for poll in told.polls] == [PollOutcome.TIMEOUT] * 3
    assert heard_from_the_radio(told) == []
    assert [kind for kind, _ in told.troubles] == ["echo"]


def test_once_the_cable_is_known_to_echo_a_late_echo_is_no_reply_either(told):
    port = Port(b"", b"Q1;", b"A;")
    talk = ask(port, told)
    port._script = [*[b""] * 30, b"Q1;"]
    talk.ask(Poll(8, 0, port.now_ns, PollOutcome.ERROR), lambda: False)
    assert [poll.outcome for poll in told.polls] == [PollOutcome.REPLY, PollOutcome.TIMEOUT]
    assert heard_from_the_radio(told) == [b"A;"]


def test_a_radio_that_answers_with_the_requests_own_bytes_is_believed(told):
    port = Port(*[b""] * 30, b"Q1;")
    ask(port, told)
    assert told.polls[0].outcome is PollOutcome.REPLY
    assert heard_from_the_radio(told) == [b"Q1;"]
    assert told.troubles == []


def test_a_reply_that_begins_like_the_request_is_no_echo(told):
    plan = PollPlan(port="radio", frame_hex="fe01", reply_bytes=4, reply_timeout_ms=50)
    ask(Port(*[b""] * 12, b"\xfe", b"", b"\x01\x55", b"\x66"), told, plan)
    assert heard_from_the_radio(told) == [b"\xfe\x01\x55\x66"]
    assert told.polls[0].outcome is PollOutcome.REPLY
    assert told.troubles == []


def test_an_echo_is_left_out_where_no_reply_is_waited_for(told):
    plan = PollPlan(port="radio", frame_text="Q1;")
    port = Port(b"", b"Q1;")
    talk = ask(port, told, plan)
    looks = iter([False, False, False, True])
    talk.listen(port.now_ns + 10**12, lambda: next(looks))
    talk.close()
    assert heard_from_the_radio(told) == []
    assert [kind for kind, _ in told.troubles] == ["echo"]
