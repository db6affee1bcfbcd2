"""A station program polls the simulated radio through the bridge, while the recorder hears the receiver."""

from __future__ import annotations

import contextlib
import os
import select
import signal
import threading
import time
from pathlib import Path

import numpy as np
import pytest
import serial

from telltick.engine.offline import measured_document
from telltick.model.marks import Origin
from telltick.model.session import Verb
from telltick.model.traffic import Direction
from telltick.sources.bench.radio import END, STATUS_REQUEST
from tests.bench_parts.recording import Recording
from tests.bench_parts.test_end_to_end import Bench
from tests.sources.far_end import FarEnd

pytestmark = pytest.mark.bench_part

SILENCE_S = 900


@pytest.fixture
def silence(tmp_path) -> Path:
    """An audio file to record while only the serial side matters."""
    import soundfile

    path = tmp_path / "silence.wav"
    soundfile.write(path, np.zeros(8000 * SILENCE_S, dtype=np.int16), 8000, subtype="PCM_16")
    return path


def free_line() -> FarEnd:
    """A line that nobody holds at the near end, or a recorder of another process would find it in use."""
    far = FarEnd()
    os.close(far._near)
    far._near = -1
    return far


@contextlib.contextmanager
def bridged(tmp_path: Path, audio: Path, port: str, *options: str):
    """A recorder with a bridge that is ready to be opened."""
    link = tmp_path / "radio"
    words = (f"--audio={audio}", f"--port={port}", f"--bridge={link}", *options)
    with Recording(tmp_path / "session", *words) as recording:
        yield recording, link


def test_ten_megabytes_of_random_bytes_pass_both_ways_and_arrive_identical(tmp_path, silence):
    size = 10_000_000
    draw = np.random.default_rng(21)
    to_radio, to_program = draw.bytes(size), draw.bytes(size)
    far, got = free_line(), {}
    os.set_blocking(far.fd, False)
    with bridged(tmp_path, silence, far.path, "--baud=921600") as (recording, link):
        with serial.Serial(str(link), 921_600, timeout=10) as port:
            port.write(b"!")
            assert far.hear(1) == b"!"
            work = [
                threading.Thread(target=write_all, args=(port.fileno(), to_radio)),
                threading.Thread(target=write_all, args=(far.fd, to_program)),
                threading.Thread(target=lambda: got.update(radio=read_all(far.fd, size))),
                threading.Thread(target=lambda: got.update(program=read_all(port.fileno(), size))),
            ]
            for thread in work:
                thread.start()
            for thread in work:
                thread.join(timeout=240)
        assert got["radio"] == to_radio
        assert got["program"] == to_program
        recording.send(signal.SIGTERM)
        assert recording.finish()[0] == 0
        kept = {
            way: b"".join(burst.data for burst in recording.reader.bursts if burst.direction is way)
            for way in Direction
        }
    assert kept[Direction.TX] == b"!" + to_radio
    assert kept[Direction.RX] == to_program
    far.hang_up()


def read_all(fd: int, count: int) -> bytes:
    got, deadline = bytearray(), time.monotonic() + 240
    while len(got) < count and time.monotonic() < deadline:
        if select.select([fd], [], [], 1.0)[0]:
            with contextlib.suppress(BlockingIOError):
                got += os.read(fd, 65_536)
    return bytes(got)


def write_all(fd: int, data: bytes) -> None:
    left, deadline = memoryview(data), time.monotonic() + 240
    while left and time.monotonic() < deadline:
        select.select([], [fd], [], 1.0)
        with contextlib.suppress(BlockingIOError):
            left = left[os.write(fd, left[:4096]) :]


def test_what_the_program_does_is_marked_and_our_own_polling_is_refused_with_words(tmp_path, silence):
    far = free_line()
    with bridged(tmp_path, silence, far.path) as (recording, link):
        refused = recording.ask(Verb.START_POLLING)
        assert not refused.done
        assert "the station program polls" in refused.note
        with serial.Serial(str(link), 19200) as port:
            port.write(b"Q1;")
            assert far.hear(3) == b"Q1;"
        reader = recording.wait_for(lambda now: len(now.marks) == 3, "three marks")
        assert [(mark.factor, mark.value) for mark in reader.marks] == [
            ("program", "open"),
            ("baud", "19200"),
            ("program", "closed"),
        ]
        assert {mark.origin for mark in reader.marks} == {Origin.PROGRAM}
        assert reader.facts.setup["program"] == "closed"
    far.hang_up()


def test_a_radio_that_vanishes_is_journalled_and_the_program_is_not_disturbed(tmp_path, silence):
    first, second = free_line(), free_line()
    name = tmp_path / "port"
    name.symlink_to(first.path)
    with bridged(tmp_path, silence, str(name)) as (recording, link), serial.Serial(str(link), 9600) as port:
        port.write(b"Q1;")
        assert first.hear(3) == b"Q1;"
        first.hang_up()
        recording.wait_for(lambda now: kinds(now) == ["serial lost"], "the loss")
        name.unlink()
        name.symlink_to(second.path)
        recording.wait_for(lambda now: kinds(now) == ["serial lost", "serial back"], "the return")
        port.write(b"Q2;")
        assert second.hear(3) == b"Q2;"
    second.hang_up()


def kinds(reader) -> list[str]:
    return [note.kind for note in reader.health if note.kind.startswith("serial")]


def test_a_killed_bridge_is_started_again_under_the_same_name(tmp_path, silence):
    far = free_line()
    with bridged(tmp_path, silence, far.path) as (recording, link):
        recording.send(signal.SIGKILL)
        recording.finish()
        assert link.is_symlink()
    (tmp_path / "again").mkdir()
    words = (f"--audio={silence}", f"--port={far.path}", f"--bridge={link}")
    with Recording(tmp_path / "again" / "s", *words) as _, serial.Serial(str(link), 9600) as port:
        port.write(b"Q1;")
        assert far.hear(3) == b"Q1;"
    far.hang_up()


class Station:
    """A program that knows nothing of us: it opens a name and polls what it takes for the radio."""

    def __init__(self, link: Path) -> None:
        self._port = serial.Serial(str(link), 9600, timeout=0.15)
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self.answers: list[bytes] = []
        self._thread.start()

    def _run(self) -> None:
        draw = np.random.default_rng(9)
        while not self._over.wait(0.15 + 0.02 * draw.random()):
            self._port.write(STATUS_REQUEST)
            self.answers.append(self._port.read_until(END))

    def close(self) -> None:
        self._over.set()
        self._thread.join(timeout=5)
        self._port.close()


def test_the_interference_of_a_station_programs_polls_is_found(tmp_path, sound_server):
    with Bench(sound_server.fifo) as bench:
        bench.do("start")
        link = tmp_path / "radio"
        words = ("--audio=rxpipe", f"--port={bench.port}", f"--bridge={link}")
        with Recording(tmp_path / "session", *words, env=sound_server.environment) as recording:
            station = Station(link)
            recording.wait_for(lambda now: len(now.bursts) > 160, "eighty polls")
            station.close()
            recording.send(signal.SIGTERM)
            assert recording.finish()[0] == 0
    assert all(answer.endswith(END) for answer in station.answers[1:-1])
    found = measured_document(tmp_path / "session")
    assert found["whole"]["verdict"] == "tied to polling"
    # 5.5 dB I/N at the bench's defaults; live polls differ a little from the standard poll it is set for
    assert found["whole"]["i_over_n_db"] == pytest.approx(5.5, abs=1.0)
    assert found["polling"]["baud"] == 9600


def test_a_passive_tap_hears_both_sides_and_tells_their_polls_apart(tmp_path, silence):
    far = free_line()
    words = (f"--audio={silence}", f"--listen={far.path}")
    with Recording(tmp_path / "session", *words) as recording:
        recording.wait_for(lambda now: bool(now.anchors), "audio")
        assert "only listens" in recording.ask(Verb.START_POLLING).note
        pause = threading.Event()
        for _ in range(20):
            far.say(b"Q1;")
            pause.wait(0.03)
            far.say(b"Q1 0042;")
            pause.wait(0.2)
        said = 20 * len(b"Q1;Q1 0042;")
        recording.wait_for(lambda now: sum(len(burst.data) for burst in now.bursts) == said, "every byte")
        assert far.hear(1, within_s=0.1) == b""
        reader = recording.reader
        assert {burst.direction for burst in reader.bursts} == {Direction.RX}
        # A busy machine may cut a pause short; most polls are still heard as two sides of one.
        assert 16 <= reader.gate().polls <= 20
        assert len(reader.bursts) > 1.5 * reader.gate().polls
    far.hang_up()
