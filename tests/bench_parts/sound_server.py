"""A private sound server with virtual inputs, so that tests record through the real PortAudio.

Two inputs exist in it: ``rxpipe`` (mono, fed bit by bit through a FIFO) and ``rx`` (stereo, hears what is
played to the sink of the same name). The machine's own sound system is not touched.
"""

from __future__ import annotations

import contextlib
import ctypes.util
import os
import shutil
import subprocess
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

RATE_HZ = 48_000
PATIENCE_S = 15.0
ASOUND = """
</usr/share/alsa/alsa.conf>
pcm.rx     {{ type pulse server "unix:{socket}" device "rx.monitor" }}
pcm.rxpipe {{ type pulse server "unix:{socket}" device "rxpipe" }}
"""


def missing_part() -> str | None:
    """What this machine lacks for a private sound server; None when all is there."""
    if not Path("/usr/share/alsa/alsa.conf").exists():
        return "ALSA's configuration (package libasound2-data)"
    for program in ("pulseaudio", "pactl", "pacat"):
        if shutil.which(program) is None:
            return f"{program} (packages pulseaudio, pulseaudio-utils, libasound2-plugins)"
    if ctypes.util.find_library("portaudio") is None:
        return "the PortAudio library (package libportaudio2)"
    return None


@dataclass
class SoundServer:
    """One running server; a context manager.

    Attributes:
        folder: an empty folder for its files.
    """

    folder: Path
    _process: subprocess.Popen[bytes] | None = field(default=None, init=False)

    @property
    def environment(self) -> dict[str, str]:
        """What a program needs in its environment to find the virtual inputs."""
        return {
            **os.environ,
            "PULSE_SERVER": f"unix:{self.folder / 'socket'}",
            "ALSA_CONFIG_PATH": str(self.folder / "asound.conf"),
        }

    @property
    def fifo(self) -> Path:
        """Signed 16-bit mono samples written here come out of the input ``rxpipe``."""
        return self.folder / "rx.fifo"

    def __enter__(self) -> SoundServer:
        socket = self.folder / "socket"
        (self.folder / "asound.conf").write_text(ASOUND.format(socket=socket), encoding="utf-8")
        (self.folder / "run").mkdir(mode=0o700)
        form = f"rate={RATE_HZ} format=s16le"
        self._process = subprocess.Popen(
            [
                *("pulseaudio", "-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1"),
                *("--realtime=no", "--high-priority=no", "--disable-shm=yes"),
                f"--log-target=file:{self.folder / 'log'}",
                *("-L", f"module-native-protocol-unix socket={socket} auth-anonymous=1"),
                *("-L", f"module-null-sink sink_name=rx channels=2 {form}"),
                *("-L", f"module-pipe-source source_name=rxpipe file={self.fifo} channels=1 {form}"),
            ],
            env=self._home(),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        self._wait_until_it_answers()
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()

    def kill(self) -> None:
        """End the server at once, as if it had crashed."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()

    def move_streams(self, to: str) -> None:
        """Hang every recording stream on another input, as a server does when an input goes away."""

        def asked(*words: str) -> str:
            done = subprocess.run(
                ["pactl", *words], env=self.environment, capture_output=True, text=True, check=True
            )
            return done.stdout

        for line in asked("list", "short", "source-outputs").splitlines():
            asked("move-source-output", line.split()[0], to)

    def _home(self) -> dict[str, str]:
        run = str(self.folder / "run")
        places = dict.fromkeys(("HOME", "XDG_RUNTIME_DIR", "PULSE_RUNTIME_PATH", "PULSE_STATE_PATH"), run)
        return {key: value for key, value in os.environ.items() if key != "DISPLAY"} | places

    def _wait_until_it_answers(self) -> None:
        deadline = time.monotonic() + PATIENCE_S
        ask = ["pactl", "info"]
        while subprocess.run(ask, env=self.environment, capture_output=True, check=False).returncode:
            log = self.folder / "log"
            said = log.read_text(errors="replace") if log.exists() else ""
            assert time.monotonic() < deadline, f"the sound server did not start: {said}"
            assert self._process is not None
            assert self._process.poll() is None, f"the sound server ended: {said}"

    def play(self, samples: npt.NDArray[np.int16]) -> subprocess.Popen[bytes]:
        """Play samples of shape (n, 2) to the sink that ``rx`` hears; the caller ends the player."""
        player = subprocess.Popen(
            ["pacat", "--raw", "--format=s16le", f"--rate={RATE_HZ}", "--channels=2", "--device=rx"],
            env=self.environment,
            stdin=subprocess.PIPE,
        )

        def feed() -> None:
            assert player.stdin is not None
            with contextlib.suppress(BrokenPipeError), player.stdin:  # the player is ended before its input
                player.stdin.write(samples.tobytes())

        threading.Thread(target=feed, daemon=True).start()
        return player


class FifoFeeder(threading.Thread):
    """Writes samples to a FIFO at the pace of their rate, as a receiver would."""

    BLOCK = 480

    def __init__(self, fifo: Path, samples: npt.NDArray[np.int16]) -> None:
        super().__init__(daemon=True)
        self._fifo = fifo
        self._samples = samples
        self._stopping = threading.Event()

    def run(self) -> None:
        with contextlib.suppress(BrokenPipeError), self._fifo.open("wb", buffering=0) as out:
            started = time.monotonic()
            for first in range(0, len(self._samples), self.BLOCK):
                due = started + first / RATE_HZ
                if self._stopping.wait(max(0.0, due - time.monotonic())):
                    return
                out.write(self._samples[first : first + self.BLOCK].tobytes())

    def stop(self) -> None:
        self._stopping.set()
        self.join(timeout=PATIENCE_S)
