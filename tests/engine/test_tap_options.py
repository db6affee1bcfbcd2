"""Options that hand the polling to somebody else: what they mean together, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from telltick.engine.opening import profile_from, tap_from
from telltick.model.errors import BadInputError
from telltick.options import build_parser

STATION = """
name = "larkfell hut"
[poll]
port = "/dev/ttyHUT"
frame_text = "Q1;"
baud = 4800
framing = "8N2"
"""


@pytest.fixture
def station(tmp_path) -> Path:
    path = tmp_path / "hut.toml"
    path.write_text(STATION, encoding="utf-8")
    return path


def tapped(*words: object):
    args = build_parser().parse_args(["record", *(str(word) for word in words)])
    return tap_from(args, profile_from(args).poll)


def test_a_bridge_needs_no_request_of_our_own():
    tap = tapped("--bridge", "/tmp/radio", "--port", "/dev/ttyX")
    assert (tap.port, tap.link, tap.way, tap.baud) == ("/dev/ttyX", Path("/tmp/radio"), "bridge", 9600)


def test_a_bridge_takes_port_and_line_from_the_station_profile(station):
    tap = tapped("--station", station, "--bridge", "/tmp/radio", "--baud", "19200")
    assert (tap.port, tap.baud, tap.framing) == ("/dev/ttyHUT", 19200, "8N2")


def test_listening_names_its_port(station):
    tap = tapped("--listen", "/dev/ttyX")
    assert (tap.port, tap.link, tap.way) == ("/dev/ttyX", None, "listen")


def test_without_them_we_poll_ourselves(station):
    assert tapped("--station", station) is None


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("--bridge", "r", "--listen", "/dev/ttyX"), "choose one"),
        (("--bridge", "r"), "--port URL"),
        (("--listen", "/dev/ttyX", "--port", "/dev/ttyY"), "leave out --port"),
        (("--bridge", "r", "--port", "p", "--frame", "Q1;"), "leave out --frame"),
        (("--listen", "p", "--frame-hex", "51"), "leave out --frame-hex"),
        (("--listen", "p", "--reply-end", "3b"), "leave out --reply-end"),
        (("--bridge", "r", "--port", "p", "--interval", "1"), "leave out --interval"),
        (("--listen", "p", "--framing", "9N1"), "framing must look like"),
        (("--listen", "p", "--baud", "3"), "baud: must be"),
    ],
)
def test_options_that_contradict_each_other_are_refused_with_words(words, why):
    with pytest.raises(BadInputError, match=why):
        tapped(*words)
