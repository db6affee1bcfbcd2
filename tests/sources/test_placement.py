"""Where a stream hangs on the sound server. With a real server: tests/bench_parts/test_sound_card.py."""

from __future__ import annotations

import threading
from types import SimpleNamespace

import pytest

from telltick.sources.placement import PROCESS, Placement

OURS, OTHERS = 100, 200


class FakeServer:
    """A server with three inputs."""

    def __init__(self, *streams: tuple[int, int, int]) -> None:
        self.streams = list(streams)  # index, process, input
        self.closed = threading.Event()

    def source_output_list(self):
        return [
            SimpleNamespace(index=index, source=source, proplist={PROCESS: str(process)})
            for index, process, source in self.streams
        ]

    def source_list(self):
        return [SimpleNamespace(index=k, description=f"input {k}") for k in range(3)]

    def close(self) -> None:
        self.closed.set()


def refuse():
    raise OSError("no server")


@pytest.fixture
def placement():
    """One that looks only when it is told to."""
    return Placement(refuse, process=OURS)


def test_a_stream_that_stays_where_it_was_first_seen_is_no_cause_for_words(placement):
    server = FakeServer((7, OURS, 1))
    assert [placement.look(server) for _ in range(3)] == ["", "", ""]
    assert placement.seen


def test_a_stream_on_another_input_is_told_with_the_inputs_name(placement):
    server = FakeServer((7, OURS, 1))
    placement.look(server)
    server.streams = [(7, OURS, 2)]
    assert placement.look(server) == 'the sound system moved it to another input, "input 2"'


def test_a_new_stream_may_hang_anywhere_and_others_move_as_they_like(placement):
    server = FakeServer((7, OURS, 1), (8, OTHERS, 1))
    placement.look(server)
    server.streams = [(9, OURS, 2), (8, OTHERS, 2)]
    assert placement.look(server) == ""


def test_a_machine_without_a_sound_server_is_left_alone(placement):
    placement._thread.join(timeout=10)
    assert not placement._thread.is_alive()
    assert placement.moved == ""
    assert not placement.seen


def test_a_server_that_goes_away_ends_the_looking_without_words():
    server = FakeServer()
    server.source_output_list = refuse
    placement = Placement(lambda: server, process=OURS)
    assert server.closed.wait(10)
    assert placement.moved == ""
