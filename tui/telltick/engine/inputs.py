"""The inputs of one recording, opened before a session exists, so that a bad name costs nothing."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from telltick.engine.clocks import Clocks
from telltick.model.errors import BadInputError, DeviceError
from telltick.model.plan import AudioPlan, PollPlan, StationProfile
from telltick.model.tap import ChannelPlan, TapPlan
from telltick.sources.audio import AudioSource
from telltick.sources.bench import SimulatedBench
from telltick.sources.paced_file import PacedFile
from telltick.sources.serial_port import Port, open_port
from telltick.sources.soundcard import SoundCard

if TYPE_CHECKING:
    from telltick.sources.program_end import ProgramEnd

_OPEN_TAP: Callable[[TapPlan], Port] = open_port


@dataclass
class Inputs:
    """Where a recording's facts come from.

    Attributes:
        audio: the sound input.
        poll: what to poll; None records audio only.
        open_port: opens the plan's port.
        bench: the simulated bench when that is what is recorded.
        clocks: where the recorder looks for the time.
        zero_ns: monotonic time of session time 0.
        tap: the line that others talk on; then `poll` is None.
        open_tap: opens the tap's port.
        program: the end of a bridge that a station program opens.
        line_channel: the data line that the audio carries beside the receiver; then both are None.
    """

    audio: AudioSource
    poll: PollPlan | None
    open_port: Callable[[PollPlan], Port]
    bench: SimulatedBench | None = None
    zero_ns: int = field(default_factory=time.monotonic_ns)
    tap: TapPlan | None = None
    open_tap: Callable[[TapPlan], Port] = _OPEN_TAP
    program: ProgramEnd | None = None
    clocks: Clocks = field(default_factory=Clocks)
    line_channel: ChannelPlan | None = None

    def close(self) -> None:
        """Let go of what belongs to the inputs as a whole."""
        if self.bench is not None:
            self.bench.stop()
        if self.program is not None:
            self.program.close()


def real_inputs(
    profile: StationProfile, tap: TapPlan | None = None, line_channel: ChannelPlan | None = None
) -> Inputs:
    """The sound card and serial port of a station profile.

    Args:
        profile: what to record and what to poll.
        tap: a line that others talk on, in place of polling.
        line_channel: a line that is heard on a channel of the audio, in place of both.

    Raises:
        DeviceError: either is missing, taken or refuses the settings.
        BadInputError: the bridge cannot have its name.
    """
    audio = _audio_source(profile.audio)
    if line_channel is not None:
        return Inputs(audio, None, open_port, line_channel=line_channel)
    if tap is not None:
        return _tapped_inputs(audio, tap)
    if profile.poll is None:
        return Inputs(audio, None, open_port)
    first = [open_port(profile.poll)]

    def open_held(plan: PollPlan) -> Port:
        # The port is opened once and held: each opening may pulse the control lines.
        return first.pop() if first else open_port(plan)

    return Inputs(audio, profile.poll, open_held)


def _tapped_inputs(audio: AudioSource, tap: TapPlan) -> Inputs:
    program = _program_end(tap)
    try:
        first = [open_port(tap)]
    except DeviceError:
        if program is not None:
            program.close()
        raise

    def open_held(plan: TapPlan) -> Port:
        return first.pop() if first else open_port(plan)

    return Inputs(audio, None, open_port, tap=tap, open_tap=open_held, program=program)


def _program_end(tap: TapPlan) -> ProgramEnd | None:
    """What a station program opens; None when only the line is listened to."""
    if tap.way == "bridge" and os.name != "posix":
        raise BadInputError("a bridge needs a POSIX system, which this one is not; use --listen")
    if tap.tcp_port is not None:
        from telltick.sources.network_line import NetworkLine
        from telltick.sources.program_end import LineWish

        line = LineWish(tap.baud, tap.line.stop_bits, tap.line.data_bits, tap.line.parity)
        return NetworkLine(tap.tcp_address, tap.tcp_port, line)
    if tap.link is not None:
        from telltick.sources.program_line import ProgramLine

        return ProgramLine(tap.link, tap.baud, tap.line.stop_bits)
    return None


def _audio_source(plan: AudioPlan) -> AudioSource:
    """The sound input of that name; where a file has it, the file is played instead."""
    if plan.device is not None and Path(plan.device).is_file():
        return PacedFile(Path(plan.device), plan.channel, plan.poll_channel)
    return SoundCard(plan)


def simulated_inputs(seed: int) -> Inputs:
    """The simulated bench: same recorder, same poller, a radio and a receiver that exist only in software."""
    bench = SimulatedBench(seed)
    bench.start()
    return Inputs(bench.audio, bench.plan, bench.open_port, bench)
