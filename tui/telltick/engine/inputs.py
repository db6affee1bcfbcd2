"""The inputs of one recording, opened before a session exists, so that a bad name costs nothing."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from telltick.model.plan import AudioPlan, PollPlan, StationProfile
from telltick.sources.audio import AudioSource
from telltick.sources.bench import SimulatedBench
from telltick.sources.paced_file import PacedFile
from telltick.sources.serial_port import Port, open_port
from telltick.sources.soundcard import SoundCard


@dataclass
class Inputs:
    """Where a recording's facts come from.

    Attributes:
        audio: the sound input.
        poll: what to poll; None records audio only.
        open_port: opens the plan's port.
        bench: the simulated bench when that is what is recorded.
        zero_ns: monotonic time of session time 0.
    """

    audio: AudioSource
    poll: PollPlan | None
    open_port: Callable[[PollPlan], Port]
    bench: SimulatedBench | None = None
    zero_ns: int = field(default_factory=time.monotonic_ns)

    def close(self) -> None:
        """Let go of what belongs to the inputs as a whole."""
        if self.bench is not None:
            self.bench.stop()


def real_inputs(profile: StationProfile) -> Inputs:
    """The sound card and serial port of a station profile.

    Raises:
        DeviceError: either is missing, taken or refuses the settings.
    """
    audio = _audio_source(profile.audio)
    if profile.poll is None:
        return Inputs(audio, None, open_port)
    first = [open_port(profile.poll)]

    def open_held(plan: PollPlan) -> Port:
        # The port is opened once and held: each opening may pulse the control lines.
        return first.pop() if first else open_port(plan)

    return Inputs(audio, profile.poll, open_held)


def _audio_source(plan: AudioPlan) -> AudioSource:
    """The sound input of that name; where a file has it, the file is played instead."""
    if plan.device is not None and Path(plan.device).is_file():
        return PacedFile(Path(plan.device), plan.channel)
    return SoundCard(plan)


def simulated_inputs(seed: int) -> Inputs:
    """The simulated bench: same recorder, same poller, a radio and a receiver that exist only in software."""
    bench = SimulatedBench(seed)
    bench.start()
    return Inputs(bench.audio, bench.plan, bench.open_port, bench)
