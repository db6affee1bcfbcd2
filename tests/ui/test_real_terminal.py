"""The screen in a real pseudo-terminal: what goes over the wire, and when the terminal goes away."""

import os
import sys
import time

import pexpect
import pyte
import pytest

pytestmark = [pytest.mark.bench_part, pytest.mark.skipif(os.name == "nt", reason="needs pseudo-terminals")]
PATIENCE_S = 30


def start(*args: str, **environ: str) -> pexpect.spawn:
    command = [sys.executable, "-m", "tests.ui.show", *args]
    env = {**os.environ, "TERM": "xterm-256color", "LANG": "C.UTF-8", **environ}
    env.pop("NO_COLOR", None) if "NO_COLOR" not in environ else None
    return pexpect.spawn(command[0], command[1:], env=env, dimensions=(24, 80), timeout=PATIENCE_S)


def test_in_ascii_mode_every_byte_on_the_wire_is_ascii():
    child = start("live", "--ascii")
    log = bytearray()
    child.logfile_read = type(
        "Log", (), {"write": lambda _, data: log.extend(data), "flush": lambda _: None}
    )()

    def until_shown(text: str) -> None:
        """Cells that stay as they are do not go over the wire: only the whole picture has the words."""
        for _ in range(300):
            glass = pyte.Screen(80, 24)
            pyte.ByteStream(glass).feed(bytes(log))
            if any(text in line for line in glass.display):
                return
            child.expect(pexpect.TIMEOUT, timeout=0.1)
        raise AssertionError(f"never shown: {text}")

    until_shown("POLLING")
    for keys, answer in (
        ("a", "HANDS ON"),
        ("loop\r", "loop"),
        ("?", "withdraw"),
        ("\x1b", "* RECORDING"),
        ("q", "stop and save"),
    ):
        child.send(keys)
        until_shown(answer)
    child.send("l")
    child.expect(pexpect.EOF)
    assert b"ScreenExit.LEAVE_RECORDING" in log
    assert bytes(log).isascii()


def test_without_colour_no_colour_goes_over_the_wire():
    child = start("live", NO_COLOR="1")
    child.expect("POLLING")
    child.send("a")
    child.expect("thunderstorm")
    seen = child.before + child.after
    child.terminate(force=True)
    for sequence in seen.split(b"\x1b[")[1:]:
        parameters, letter, _ = sequence.partition(b"m")
        if letter and all(byte in b"0123456789;" for byte in parameters):
            codes = {int(code or 0) for code in parameters.split(b";")}
            assert codes <= {0, 1, 2, 4, 7, 22, 24, 27, 39, 49}, codes


def test_when_the_terminal_goes_away_the_screen_ends_at_once():
    child = start("live")
    child.expect("POLLING")
    began = time.monotonic()
    os.close(child.child_fd)
    child.closed, child.child_fd = True, -1
    while child.isalive() and time.monotonic() - began < PATIENCE_S:
        time.sleep(0.01)
    assert not child.isalive()
