"""What will be done to a serial port, told before it is done. Nothing here opens one."""

from __future__ import annotations

import argparse
import os
import textwrap
from pathlib import Path

from telltick.engine.line_options import channel_from, open_to_others, tap_from
from telltick.engine.opening import profile_from
from telltick.model.cautions import FRAMES, POLL_CHANNEL, SERIAL_LINES
from telltick.model.plan import PollPlan, StationProfile
from telltick.model.tap import ChannelPlan, TapPlan
from telltick.model.text import plain_text
from telltick.sources.bench.parts import bench_plan
from telltick.sources.serial_port import LineSettings, holders

WIDTH = 100


def port_with_lines(args: argparse.Namespace) -> str | None:
    """The port about to be opened, if opening it can pulse control lines; None when there is no such port.

    Raises:
        BadInputError: the station profile or the options cannot be used.
    """
    if getattr(args, "bench", False):
        return None
    profile = profile_from(args)
    if channel_from(args, profile.audio, profile.poll) is not None:
        return None
    plan: LineSettings | None = tap_from(args, profile.poll) or profile.poll
    if plan is None or plan.port.startswith("loop:"):
        return None
    if "://" in plan.port or os.name != "posix":
        return plan.port
    real = os.path.realpath(plan.port)
    has_lines = Path(real).exists() and not real.startswith("/dev/pts/")
    return plan.port if has_lines else None


def warnings(args: argparse.Namespace) -> list[str]:
    """What to say before anything is opened, besides the caution about control lines.

    Raises:
        BadInputError: the station profile or the options cannot be used.
    """
    if getattr(args, "bench", False):
        return []
    profile = profile_from(args)
    said = [open_to_others(tap_from(args, profile.poll))]
    if channel_from(args, profile.audio, profile.poll) is not None:
        said.append(POLL_CHANNEL)
    return [words for words in said if words]


def dry_run_text(args: argparse.Namespace) -> str:
    """What the same command without ``--dry-run`` would open and send.

    Raises:
        BadInputError: the station profile or the options cannot be used.
    """
    lines = ["dry run: nothing is opened, nothing is sent", ""]
    bench = getattr(args, "bench", False)
    profile = StationProfile() if bench else profile_from(args)
    tap = None if bench else tap_from(args, profile.poll)
    heard = None if bench else channel_from(args, profile.audio, profile.poll)
    plan = bench_plan("the simulated radio") if bench else profile.poll
    if heard is not None:
        return "\n".join([*lines, *_heard_lines(heard), "", *_wrapped(f"Caution: {POLL_CHANNEL}")])
    if tap is not None:
        lines += [*_port_lines(tap), *_tap_lines(tap)]
    elif plan is not None:
        lines += [*_port_lines(plan), *_frame_lines(plan)]
    else:
        lines.append("port     none: audio alone is recorded")
    if tap is not None or plan is not None:
        lines += ["", *_wrapped(f"Caution: {SERIAL_LINES}")]
    if warning := open_to_others(tap):
        lines += _wrapped(f"Caution: {warning}")
    if plan is not None and tap is None:
        lines += _wrapped(f"Caution: {FRAMES}")
    return "\n".join(lines)


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent="  ")


def _port_lines(plan: LineSettings) -> list[str]:
    port = plain_text(plan.port)
    held = holders(plan.port) if plan.port.startswith("/") else ()
    used = [f"         in use by {plain_text(str(holder))}: it would be refused" for holder in held[:3]]
    return [f"port     {port}, {plan.baud} baud, {plan.framing}, handshake {plan.handshake}", *used]


def _tap_lines(tap: TapPlan) -> list[str]:
    if tap.way == "listen":
        return ["frames   none: it only listens"]
    tcp = f"{tap.tcp_address} port {tap.tcp_port}, by RFC 2217; control lines stay low whatever it asks"
    return [
        "frames   none of our own; every byte that a program writes to the bridge below goes to the port,",
        "         and every byte from the port to that program",
        f"bridge   {tcp if tap.tcp_port is not None else plain_text(str(tap.link))}",
    ]


def _heard_lines(heard: ChannelPlan) -> list[str]:
    line = (
        "rate unknown: characters are not read"
        if heard.baud is None
        else f"{heard.baud} baud, {heard.framing}"
    )
    return [
        "port     none: the data line is heard on the sound input",
        f"line     channel {heard.channel}, {heard.direction}, {line}",
        "frames   none: nothing is sent",
    ]


def _frame_lines(plan: PollPlan) -> list[str]:
    other = plan.unanswered
    start = "from the start" if plan.enabled else "once polling is switched on"
    return [
        f"polls    one each {plan.interval_s:g} s, moved by up to {plan.jitter_ms:g} ms at random, {start}",
        "frames   this one and no other:" if other is None else "frames   these two and no other:",
        *_frame(plan, plan.frame),
        *([] if other is None else ["  and, only when asked for, which the radio is to let pass:"]),
        *([] if other is None else _frame(plan, other)),
        f"reply    {_reply(plan)}",
    ]


def _frame(plan: PollPlan, frame: bytes) -> list[str]:
    on_line_ms = 1000 * len(frame) * plan.line.char_time_s(plan.baud)
    return [
        f"  text   {frame.decode('latin-1').encode('unicode_escape').decode('ascii')}",
        f"  hex    {frame.hex(' ')}",
        f"         {len(frame)} byte{'s' if len(frame) != 1 else ''}, {on_line_ms:.1f} ms on the line",
    ]


def _reply(plan: PollPlan) -> str:
    ends = []
    if plan.reply_terminator:
        ends.append(f"ends with {bytes.fromhex(plan.reply_terminator).hex(' ')}")
    if plan.reply_bytes is not None:
        ends.append(f"has {plan.reply_bytes} bytes")
    if plan.reply_silence_ms is not None:
        ends.append(f"ends with {plan.reply_silence_ms:g} ms of silence")
    if not ends:
        return "is not waited for"
    return f"{' or '.join(ends)}; given up after {plan.reply_timeout_ms:g} ms without a byte"
