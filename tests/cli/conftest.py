"""A command line to refuse things at, and what it is given."""

from __future__ import annotations

import signal
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

import telltick.cli
from telltick.cli import main
from tests.engine.sessions import RATE, rendered, write_rendered


@pytest.fixture(autouse=True)
def home(tmp_path_factory, monkeypatch) -> Path:
    """A home of its own, where nothing must appear that a test does not expect."""
    home = tmp_path_factory.mktemp("home")
    for name in ("HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME"):
        monkeypatch.setenv(name, str(home))
    return home


@pytest.fixture(autouse=True)
def signals():
    """A recorder that runs in this process takes over its signals; the test runner gets them back."""
    kept = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    yield
    for number, handler in kept.items():
        signal.signal(number, handler)


@pytest.fixture
def terminal(monkeypatch):
    """As if the command were typed at a terminal."""
    monkeypatch.setattr(telltick.cli, "_at_terminal", lambda: True)


@pytest.fixture
def refused(capsys):
    """Runs a command that must be refused; returns its one line on stderr."""

    def run(*argv: object) -> str:
        assert main([str(word) for word in argv]) == 2
        out, err = capsys.readouterr()
        assert out == ""
        assert err.startswith("telltick: ")
        assert err.count("\n") == 1
        assert "Traceback" not in err
        return err.removeprefix("telltick: ").strip()

    return run


@pytest.fixture(scope="session")
def saved(tmp_path_factory) -> Path:
    """A saved session of ten seconds; nobody writes to it."""
    return write_rendered(tmp_path_factory.mktemp("saved") / "session", rendered(seconds=10.0))


@pytest.fixture
def audio(tmp_path) -> Path:
    path = tmp_path / "evening.wav"
    soundfile.write(path, np.random.default_rng(3).normal(0, 0.01, 2 * RATE), RATE, subtype="PCM_16")
    return path


class NoPortAudio:
    """Stands where sounddevice would be found, and fails as it does without the C library."""

    def find_spec(self, name, _path=None, _target=None):
        if name == "sounddevice":
            raise OSError("PortAudio library not found")


@pytest.fixture
def without_portaudio(monkeypatch):
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "meta_path", [NoPortAudio(), *sys.meta_path])
