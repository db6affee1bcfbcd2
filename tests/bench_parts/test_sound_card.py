"""Recording through the real PortAudio from a private sound server."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from tests.bench_parts.sound_server import RATE_HZ, FifoFeeder, SoundServer

pytestmark = pytest.mark.bench_part

RECORD = [sys.executable, "-m", "tests.bench_parts.record_input"]


def recorder(
    server: SoundServer, name: str, channel: int, seconds: float, out: Path, *more: str
) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [*RECORD, name, str(channel), str(round(seconds * RATE_HZ)), str(out), *more],
        env=server.environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def finish(process: subprocess.Popen[str]) -> tuple[str, str]:
    """What the recorder printed, and what reached its terminal."""
    return process.communicate(timeout=60)


def test_a_recorded_stream_comes_back_bit_exact(sound_server, tmp_path):
    sent = np.random.default_rng(0).integers(-9000, 9000, 12 * RATE_HZ, dtype=np.int16)
    feeder = FifoFeeder(sound_server.fifo, sent)
    feeder.start()
    process = recorder(sound_server, "RXpipe", 1, 6, tmp_path / "out.npz")
    printed, chatter = finish(process)
    feeder.stop()
    assert printed.splitlines() == ["recording rxpipe"]
    assert chatter == ""
    came = np.load(tmp_path / "out.npz")
    got = came["samples"]
    assert not came["overflow"].any()
    assert set(came["sizes"]) == {960}
    assert (np.diff(came["arrival_ns"]) >= 0).all()
    # Before the feeder and the stream met there may be silence; from there on every sample is the one sent.
    key = got[RATE_HZ : RATE_HZ + 16].tobytes()
    offset = sent.tobytes().index(key) // 2 - RATE_HZ
    start = max(0, -offset)
    assert (got[start:] == sent[offset + start : offset + len(got)]).all()
    assert len(got) - start >= 5 * RATE_HZ


def tone(hz: float, seconds: float) -> np.ndarray:
    return np.round(8000 * np.sin(2 * np.pi * hz * np.arange(int(seconds * RATE_HZ)) / RATE_HZ))


@pytest.mark.parametrize(("channel", "hz"), [(1, 700), (2, 1900)])
def test_the_chosen_channel_of_a_stereo_input_is_recorded(sound_server, tmp_path, channel, hz):
    both = np.stack([tone(700, 20), tone(1900, 20)], axis=1).astype(np.int16)
    player = sound_server.play(both)
    printed, _ = finish(recorder(sound_server, "rx", channel, 4, tmp_path / "out.npz"))
    player.kill()
    player.wait()
    assert printed.splitlines() == ["recording rx"]
    last = np.load(tmp_path / "out.npz")["samples"][-RATE_HZ:]
    spectrum = np.abs(np.fft.rfft(last * np.hanning(RATE_HZ)))
    assert spectrum.argmax() == hz
    other = 700 + 1900 - hz
    assert spectrum[other - 3 : other + 4].max() < 0.001 * spectrum.max()  # the two are not mixed down


def test_an_unknown_name_is_refused_with_the_inputs_there_are(sound_server, tmp_path):
    process = recorder(sound_server, "no such input", 1, 1, tmp_path / "out.npz")
    printed, chatter = finish(process)
    assert process.returncode == 2
    assert printed.startswith('refused there is no sound input "no such input"; there is ')
    assert '"rx"' in printed
    assert '"rxpipe"' in printed
    assert chatter == ""


def test_a_sound_server_that_dies_is_noticed(sound_server, tmp_path):
    feeder = FifoFeeder(sound_server.fifo, np.zeros(30 * RATE_HZ, dtype=np.int16))
    feeder.start()
    process = recorder(sound_server, "rxpipe", 1, 50, tmp_path / "out.npz")
    assert process.stdout.readline() == "recording rxpipe\n"
    sound_server.kill()
    printed, _ = finish(process)
    assert printed.startswith(("problem no sound for", "problem the sound system ended the stream"))
    feeder.stop()


def test_a_stream_that_the_server_hangs_on_another_input_is_noticed(sound_server, tmp_path):
    feeder = FifoFeeder(sound_server.fifo, np.zeros(30 * RATE_HZ, dtype=np.int16))
    feeder.start()
    process = recorder(sound_server, "rxpipe", 1, 50, tmp_path / "out.npz", "placed")
    assert process.stdout.readline() == "recording rxpipe\n"
    assert process.stdout.readline() == "placed\n"
    sound_server.move_streams("rx.monitor")
    printed, _ = finish(process)
    sound_server.kill()  # lets go of the feeder, whose sound nobody takes any more
    feeder.stop()
    assert printed == 'problem the sound system moved it to another input, "Monitor of Null Output"\n'
