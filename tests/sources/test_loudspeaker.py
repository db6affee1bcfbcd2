"""Sound out: only the thread that writes to a stream closes it, and a wish to be silent is heeded soon."""

import itertools
import threading
from types import SimpleNamespace

import numpy as np
import pytest

from telltick.sources import loudspeaker
from telltick.sources.loudspeaker import PIECE, Loudspeaker


class Stream:
    """Takes notes of who does what."""

    def __init__(self, **_) -> None:
        self.writers, self.closers, self.written = set(), set(), []
        self.began = threading.Event()

    def start(self) -> None:
        pass

    def write(self, samples) -> None:
        self.writers.add(threading.get_ident())
        self.written.append(len(samples))
        self.began.set()

    def abort(self, *, ignore_errors) -> None:
        self.closers.add(threading.get_ident())

    stop = abort

    def close(self, *, ignore_errors) -> None:
        self.closers.add(threading.get_ident())


@pytest.fixture
def streams(monkeypatch):
    made = []

    def opened(**given):
        made.append(Stream(**given))
        return made[-1]

    library = SimpleNamespace(OutputStream=opened, PortAudioError=OSError)
    monkeypatch.setattr(loudspeaker, "portaudio", lambda: library)
    return made


def endless():
    return itertools.repeat(np.ones(5 * PIECE, dtype=np.int16))


def test_only_the_thread_that_writes_closes_the_stream(streams):
    # A stream closed under a write that is under way breaks the memory of the whole process.
    speaker = Loudspeaker()
    for _ in range(5):
        speaker.play(endless(), 12_000)
        assert streams[-1].began.wait(10)
    speaker.stop()
    assert not speaker.playing
    for stream in streams:
        assert stream.closers == stream.writers != {threading.get_ident()}
        assert len(stream.closers) == 1


def test_long_blocks_are_written_in_pieces_so_that_silence_comes_soon(streams):
    speaker = Loudspeaker()
    speaker.play(iter([np.ones(5 * PIECE // 2, dtype=np.int16)]), 12_000)
    speaker._thread.join(10)
    assert streams[0].written == [PIECE, PIECE, PIECE // 2]
    speaker.stop()
