"""Options that leave the polling to others: a bridge, a passive tap, a channel of the audio."""

from __future__ import annotations

import argparse
import ipaddress
from pathlib import Path
from typing import Any

from telltick.model.errors import BadInputError
from telltick.model.plan import AudioPlan, PollPlan
from telltick.model.tap import LOOPBACK, ChannelPlan, TapPlan
from telltick.model.traffic import Direction

OF_OUR_POLLER = ("frame", "frame_hex", "interval", "reply_end")
OF_A_PORT = ("port", "bridge", "bridge_tcp", "listen")


def given(**options: Any) -> dict[str, Any]:
    """The options that the command line has."""
    return {name: value for name, value in options.items() if value is not None}


def others_talk(args: argparse.Namespace) -> bool:
    """Whether somebody else is to poll, on a line that is opened."""
    return any(option is not None for option in (args.bridge, args.bridge_tcp, args.listen))


def tap_from(args: argparse.Namespace, plan: PollPlan | None) -> TapPlan | None:
    """The line to watch, when others are to talk on it; None when we poll ourselves.

    Args:
        args: the command line's options.
        plan: the station profile's poll plan; its port and line serve where no option says otherwise.

    Raises:
        BadInputError: the options contradict each other.
    """
    if not others_talk(args):
        if args.bridge_address is not None:
            raise BadInputError(
                "--bridge-address says where --bridge-tcp listens; give --bridge-tcp PORT too"
            )
        return None
    way = _way(args)
    port = args.listen or args.port or (plan.port if plan else None)
    if port is None:
        raise BadInputError(f"{way} needs the radio's own port: --port URL; telltick check lists the ports")
    known = {"baud": plan.baud, "framing": plan.framing, "handshake": plan.handshake} if plan else {}
    link = None if args.bridge is None else Path(args.bridge).absolute()
    ends = given(link=link, tcp_port=args.bridge_tcp, tcp_address=_address(args))
    try:
        return TapPlan(**{**known, **given(baud=args.baud, framing=args.framing), "port": port, **ends})
    except ValueError as why:
        raise BadInputError(f"{why}") from why


def _way(args: argparse.Namespace) -> str:
    """The one option that says how others talk.

    Raises:
        BadInputError: there are two, or options that go with none of them.
    """
    ways = [word for word in ("bridge", "bridge_tcp", "listen") if getattr(args, word) is not None]
    named = [f"--{word.replace('_', '-')}" for word in ways]
    if len(ways) > 1:
        raise BadInputError(f"{' and '.join(named)} are different ways to the same bytes; choose one of them")
    if args.listen is not None and args.port is not None:
        raise BadInputError("--listen names the port to hear; leave out --port")
    if args.bridge_address is not None and args.bridge_tcp is None:
        raise BadInputError("--bridge-address goes with --bridge-tcp; leave it out")
    _refuse_own_polling(args, f"{named[0]} somebody else")
    return named[0]


def _refuse_own_polling(args: argparse.Namespace, way: str) -> None:
    for option in OF_OUR_POLLER:
        if getattr(args, option) is not None:
            raise BadInputError(f"with {way} polls; leave out --{option.replace('_', '-')}")


def _address(args: argparse.Namespace) -> str | None:
    if args.bridge_address is None:
        return None
    try:
        return str(ipaddress.IPv4Address(args.bridge_address))
    except ValueError as why:
        raise BadInputError(f"--bridge-address must be an IPv4 address of this machine: {why}") from why


def open_to_others(tap: TapPlan | None) -> str:
    """What to say of a bridge that other machines can reach; empty when they cannot."""
    if tap is None or tap.tcp_port is None or ipaddress.ip_address(tap.tcp_address).is_loopback:
        return ""
    return (
        f"the bridge on {tap.tcp_address} port {tap.tcp_port} lets every machine that reaches it send "
        "commands to the radio, transmit commands too, without a password: keep to "
        f"{LOOPBACK} and an SSH tunnel where you can"
    )


def channel_from(args: argparse.Namespace, audio: AudioPlan, plan: PollPlan | None) -> ChannelPlan | None:
    """The data line to hear on a channel of the audio; None without one.

    Args:
        args: the command line's options.
        audio: the sound input, the options laid over it.
        plan: the station profile's poll plan; its rate serves where no option says otherwise.

    Raises:
        BadInputError: the options contradict each other.
    """
    if audio.poll_channel is None:
        if args.poll_direction is not None:
            raise BadInputError("--poll-direction goes with --poll-channel; give --poll-channel N too")
        return None
    for option in OF_A_PORT:
        if getattr(args, option) is not None:
            word = option.replace("_", "-")
            raise BadInputError(
                f"--poll-channel hears the line itself, and opens no port; leave out --{word}"
            )
    _refuse_own_polling(args, "--poll-channel somebody else")
    line: dict[str, Any] = {"baud": plan.baud, "framing": plan.framing} if plan else {}
    line |= given(baud=args.baud, framing=args.framing, direction=_direction(args))
    try:
        return ChannelPlan(channel=audio.poll_channel, **line)
    except ValueError as why:
        raise BadInputError(f"{why}") from why


def _direction(args: argparse.Namespace) -> Direction | None:
    return None if args.poll_direction is None else Direction(args.poll_direction)
