"""What will be done to a serial port, told before it is done. Nothing here opens one."""

from __future__ import annotations

import argparse
import os
import textwrap
from pathlib import Path

from telltick.engine.opening import profile_from, tap_from
from telltick.model.cautions import FRAMES, SERIAL_LINES
from telltick.model.plan import PollPlan, StationProfile
from telltick.model.tap import TapPlan
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
    plan: LineSettings | None = tap_from(args, profile.poll) or profile.poll
    if plan is None or plan.port.startswith("loop:"):
        return None
    if "://" in plan.port or os.name != "posix":
        return plan.port
    real = os.path.realpath(plan.port)
    has_lines = Path(real).exists() and not real.startswith("/dev/pts/")
    return plan.port if has_lines else None


def dry_run_text(args: argparse.Namespace) -> str:
    """What the same command without ``--dry-run`` would open and send.

    Raises:
        BadInputError: the station profile or the options cannot be used.
    """
    lines = ["dry run: nothing is opened, nothing is sent", ""]
    profile = StationProfile() if getattr(args, "bench", False) else profile_from(args)
    tap = None if getattr(args, "bench", False) else tap_from(args, profile.poll)
    plan = bench_plan("the simulated radio") if getattr(args, "bench", False) else profile.poll
    if tap is not None:
        lines += [*_port_lines(tap), *_tap_lines(tap)]
    elif plan is not None:
        lines += [*_port_lines(plan), *_frame_lines(plan)]
    else:
        lines.append("port     none: audio alone is recorded")
    if tap is not None or plan is not None:
        lines += ["", *_wrapped(f"Caution: {SERIAL_LINES}")]
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
    if tap.link is None:
        return ["frames   none: it only listens"]
    return [
        "frames   none of our own; every byte that a program writes to the name below goes to the port,",
        "         and every byte from the port to that program",
        f"bridge   {plain_text(str(tap.link))}",
    ]


def _frame_lines(plan: PollPlan) -> list[str]:
    frame = plan.frame
    on_line_ms = 1000 * len(frame) * plan.line.char_time_s(plan.baud)
    start = "from the start" if plan.enabled else "once polling is switched on"
    return [
        f"polls    one each {plan.interval_s:g} s, moved by up to {plan.jitter_ms:g} ms at random, {start}",
        "frames   this one and no other:",
        f"  text   {frame.decode('latin-1').encode('unicode_escape').decode('ascii')}",
        f"  hex    {frame.hex(' ')}",
        f"         {len(frame)} byte{'s' if len(frame) != 1 else ''}, {on_line_ms:.1f} ms on the line",
        f"reply    {_reply(plan)}",
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
