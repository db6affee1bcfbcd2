"""A real sshd of our own on loopback, with keys made for the occasion."""

from __future__ import annotations

import getpass
import os
import shlex
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

SSHD = shutil.which("sshd") or shutil.which("sshd", path="/usr/sbin:/usr/local/sbin")
SEPARATION = Path("/run/sshd")  # a daemon run by root wants it to exist


def missing_part() -> str | None:
    """What this machine lacks for an sshd of our own; None when nothing."""
    if SSHD is None:
        return "sshd"
    for tool in ("ssh", "ssh-keygen"):
        if shutil.which(tool) is None:
            return tool
    return None


class LoopbackSsh:
    """Runs sshd on a free port of 127.0.0.1; lets nobody in but us."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.port = _free_port()

    def __enter__(self) -> LoopbackSsh:
        if os.geteuid() == 0:
            SEPARATION.mkdir(mode=0o755, exist_ok=True)
        for name in ("host", "user"):
            make = ["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", str(self._folder / name)]
            subprocess.run(make, check=True)
        shutil.copy(self._folder / "user.pub", self._folder / "let_in")
        config = self._folder / "sshd_config"
        config.write_text(
            f"Port {self.port}\nListenAddress 127.0.0.1\nHostKey {self._folder / 'host'}\n"
            f"AuthorizedKeysFile {self._folder / 'let_in'}\nStrictModes no\nUsePAM no\n"
            f"PasswordAuthentication no\nPermitRootLogin prohibit-password\nPidFile none\n"
        )
        assert SSHD is not None
        with (self._folder / "sshd.log").open("wb") as log:
            self._daemon = subprocess.Popen([SSHD, "-D", "-e", "-f", str(config)], stderr=log, stdout=log)
        deadline = time.monotonic() + 10
        while not _answers(self.port):
            if time.monotonic() > deadline or self._daemon.poll() is not None:
                raise AssertionError((self._folder / "sshd.log").read_text())
            time.sleep(0.05)
        return self

    def __exit__(self, *_: object) -> None:
        self._daemon.terminate()
        self._daemon.wait(10)

    def command(self, words: Sequence[str], folder: Path) -> list[str]:
        """The words of a command line that runs another one over this daemon, on a terminal.

        Args:
            words: the command.
            folder: where to run it.
        """
        there = f"cd {shlex.quote(str(folder))} && exec env LC_ALL=C.UTF-8 {shlex.join(words)}"
        options = {
            "StrictHostKeyChecking": "no", "UserKnownHostsFile": "/dev/null", "LogLevel": "ERROR",
            "IdentitiesOnly": "yes", "IdentityAgent": "none", "ControlPath": "none",
        }  # fmt: skip
        flags = [word for name, value in options.items() for word in ("-o", f"{name}={value}")]
        key = ["-i", str(self._folder / "user"), "-p", str(self.port)]
        return ["ssh", "-F", "/dev/null", "-tt", *flags, *key, f"{getpass.getuser()}@127.0.0.1", there]


def python(*words: str) -> list[str]:
    """The command line of this Python."""
    return [sys.executable, *words]


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _answers(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0
