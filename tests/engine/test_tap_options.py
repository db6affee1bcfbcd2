"""Options that hand the polling to somebody else: what they mean together, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from telltick.engine.line_options import channel_from, open_to_others, tap_from
from telltick.engine.opening import profile_from
from telltick.model.errors import BadInputError
from telltick.model.traffic import Direction
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


# ---- over TCP


def test_a_bridge_over_tcp_keeps_to_this_machine_unless_told_otherwise():
    tap = tapped("--bridge-tcp", "4001", "--port", "/dev/ttyX")
    assert (tap.tcp_port, tap.tcp_address, tap.way, tap.link) == (4001, "127.0.0.1", "bridge", None)
    assert open_to_others(tap) == ""


def test_a_bridge_for_other_machines_is_warned_of():
    tap = tapped("--bridge-tcp", "4001", "--port", "/dev/ttyX", "--bridge-address", "0.0.0.0")
    assert "every machine that reaches it" in open_to_others(tap)
    assert "without a password" in open_to_others(tap)


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("--bridge-tcp", "4001", "--bridge", "r", "--port", "p"), "choose one"),
        (("--bridge-tcp", "4001", "--listen", "p"), "choose one"),
        (("--bridge-tcp", "4001"), "--port URL"),
        (("--bridge-tcp", "70000", "--port", "p"), "tcp_port: must be"),
        (("--bridge-address", "10.0.0.1"), "--bridge-tcp PORT"),
        (("--bridge", "r", "--port", "p", "--bridge-address", "10.0.0.1"), "leave it out"),
        (("--bridge-tcp", "4001", "--port", "p", "--bridge-address", "hut"), "IPv4 address"),
        (("--bridge-tcp", "4001", "--port", "p", "--frame", "Q1;"), "leave out --frame"),
    ],
)
def test_tcp_options_that_contradict_each_other_are_refused_with_words(words, why):
    with pytest.raises(BadInputError, match=why):
        tapped(*words)


# ---- a channel of the audio


def heard(*words: object):
    args = build_parser().parse_args(["record", *(str(word) for word in words)])
    profile = profile_from(args)
    return channel_from(args, profile.audio, profile.poll)


def test_a_channel_that_carries_the_line_takes_what_is_known_of_it(station):
    plan = heard("--station", station, "--poll-channel", 2, "--poll-direction", "rx")
    assert (plan.channel, plan.baud, plan.framing, plan.direction) == (2, 4800, "8N2", Direction.RX)
    assert heard("--poll-channel", 2).baud is None
    assert heard("--poll-channel", 2).direction is Direction.TX
    assert heard() is None


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("--poll-channel", 1), "needs its own"),
        (("--poll-channel", 40), "must be 1 to 32"),
        (("--poll-channel", 2, "--port", "p"), "leave out --port"),
        (("--poll-channel", 2, "--listen", "p"), "leave out --listen"),
        (("--poll-channel", 2, "--frame", "Q1;"), "leave out --frame"),
        (("--poll-channel", 2, "--baud", 1_000_000), "baud: must be"),
        (("--poll-direction", "rx"), "--poll-channel N"),
    ],
)
def test_channel_options_that_contradict_each_other_are_refused_with_words(words, why):
    with pytest.raises(BadInputError, match=why):
        heard(*words)
