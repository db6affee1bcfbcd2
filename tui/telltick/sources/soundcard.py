"""Sound inputs through PortAudio: chosen by name, one channel, 20 ms blocks.

PortAudio is loaded late: it takes time, may be missing, and it and the system's sound libraries write to
file descriptor 2, where a terminal's screen may be.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from telltick.model.errors import DeviceError
from telltick.model.plan import AudioPlan
from telltick.sources.audio import FIRST_BLOCK_S, SILENT_AFTER_S, AudioBlock
from telltick.sources.placement import Placement
from telltick.sources.portaudio import portaudio, quiet_descriptor, words_of

BLOCK_S = 0.02
LATENCY_S = 0.08  # buffering asked of the sound system: deep enough to ride out a busy machine
NS_PER_S = 1_000_000_000


@dataclass(frozen=True, slots=True)
class InputInfo:
    """A sound input of this machine.

    Attributes:
        name: its name.
        channels: how many channels it offers.
        rate_hz: the sample rate it prefers.
        default: True for the system's default input.
        system: the sound system it is reached through.
        index: its number within PortAudio, good until PortAudio is started afresh.
    """

    name: str
    channels: int
    rate_hz: int
    default: bool
    system: str = ""
    index: int = -1


def list_inputs() -> tuple[InputInfo, ...]:
    """The machine's sound inputs; none is opened.

    Raises:
        DeviceError: PortAudio is missing or cannot start.
    """
    sd = portaudio()
    try:
        with quiet_descriptor():
            devices, systems = sd.query_devices(), sd.query_hostapis()
            default = sd.default.device[0]
    except sd.PortAudioError as why:
        raise DeviceError(f"the sound system gave no list of inputs: {words_of(why)}") from why
    if default < 0 and systems:
        default = systems[0].get("default_input_device", -1)
    return tuple(
        InputInfo(
            str(device["name"]),
            int(device["max_input_channels"]),
            round(device["default_samplerate"]),
            index == default,
            str(systems[device["hostapi"]]["name"]),
            index,
        )
        for index, device in enumerate(devices)
        if device["max_input_channels"] > 0
    )


def choose_input(wanted: str | None, inputs: Sequence[InputInfo]) -> InputInfo:
    """The input that a name means: the whole name first, else the one name that contains it; case is ignored.

    An input that is offered through several sound systems counts once, through the first of them.

    Raises:
        DeviceError: no input, or several, are meant; the message lists what there is.
    """
    if not inputs:
        raise DeviceError("there is no sound input: connect the receiver's audio to one, then try again")
    if wanted is None:
        return next((one for one in inputs if one.default), inputs[0])
    word = wanted.casefold()
    exact = [one for one in inputs if one.name.casefold() == word]
    found = exact or [one for one in inputs if word in one.name.casefold()]
    names = {one.name for one in found}
    if len(names) == 1:
        return found[0]
    listed = ", ".join(f'"{name}"' for name in sorted(names or {one.name for one in inputs}))
    if found:
        raise DeviceError(f'the sound input "{wanted}" could be any of {listed}: give more of the name')
    raise DeviceError(f'there is no sound input "{wanted}"; there is {listed}')


class SoundCard:
    """One channel of a sound input as an `AudioSource`."""

    over = False

    def __init__(self, plan: AudioPlan) -> None:
        """Find the input; it is opened by `start`.

        Raises:
            DeviceError: PortAudio or the input is missing, ambiguous, or refuses the settings.
        """
        self._plan = plan
        self.rate_hz = plan.rate_hz
        self.name = self._find().name
        self._stream: Any = None
        self._started = False
        self._ended = threading.Event()
        self._last_ns, self._heard = 0, False
        self._placement: Placement | None = None

    def start(self, sink: Callable[[AudioBlock], None]) -> None:
        """Open the input and deliver its blocks.

        A second start looks for the input afresh by its name, since its number may have changed.

        Raises:
            DeviceError: the input is not there (any more) or cannot be opened.
        """
        sd = portaudio()
        self.stop()
        if self._started:
            _restart_portaudio(sd)
        self._started = True
        found = self._find()
        channels = _opened_channels(found, self._highest)
        self._ended = ended = threading.Event()
        self._last_ns, self._heard = time.monotonic_ns(), False
        try:
            with quiet_descriptor():
                self._stream = sd.RawInputStream(
                    device=found.index,
                    channels=channels,
                    samplerate=self.rate_hz,
                    dtype="int16",
                    blocksize=round(BLOCK_S * self.rate_hz),
                    latency=LATENCY_S,
                    callback=self._deliver_to(sink, channels),
                    finished_callback=ended.set,
                )
                self._stream.start()
                self._placement = Placement()
        except sd.PortAudioError as why:
            self.stop()
            raise DeviceError(f'the sound input "{self.name}" could not be opened: {words_of(why)}') from why

    def stop(self) -> None:
        """Close the input. Aborts, since an orderly stop can wait for a device that is gone."""
        if self._placement is not None:
            self._placement.stop()
        stream, self._stream = self._stream, None
        if stream is not None:
            with quiet_descriptor():
                stream.abort(ignore_errors=True)
                stream.close(ignore_errors=True)

    def problem(self) -> str | None:
        """What is wrong with the input; None while blocks come."""
        if self._stream is None:
            return "the input is not open"
        if self._ended.is_set():
            return "the sound system ended the stream"
        if self._placement is not None and self._placement.moved:
            return self._placement.moved
        silent_s = (time.monotonic_ns() - self._last_ns) / NS_PER_S
        patience_s = SILENT_AFTER_S if self._heard else FIRST_BLOCK_S
        return f"no sound for {silent_s:.1f} s" if silent_s > patience_s else None

    def _deliver_to(
        self, sink: Callable[[AudioBlock], None], channels: int
    ) -> Callable[[Any, int, Any, Any], None]:
        channel = self._plan.channel - 1
        beside = None if self._plan.poll_channel is None else self._plan.poll_channel - 1

        def callback(indata: Any, _frames: int, _time: Any, status: Any) -> None:
            arrival_ns = time.monotonic_ns()
            frames = np.frombuffer(bytes(indata), dtype=np.int16)
            samples = frames[channel::channels].copy() if channels > 1 else frames
            line = None if beside is None else frames[beside::channels].copy()
            self._last_ns, self._heard = arrival_ns, True
            sink(AudioBlock(samples, arrival_ns, bool(status.input_overflow), line))

        return callback

    @property
    def _highest(self) -> int:
        """The highest channel that is taken."""
        return max(self._plan.channel, self._plan.poll_channel or 1)

    def _find(self) -> InputInfo:
        found = choose_input(self._plan.device, list_inputs())
        if self._highest > found.channels:
            raise DeviceError(
                f'the sound input "{found.name}" has no channel {self._highest}: '
                f"choose a channel from 1 to {found.channels}"
            )
        sd = portaudio()
        try:
            with quiet_descriptor():
                channels = _opened_channels(found, self._highest)
                sd.check_input_settings(found.index, channels, "int16", None, self.rate_hz)
        except sd.PortAudioError as why:
            raise DeviceError(
                f'the sound input "{found.name}" does not offer {self.rate_hz} Hz: {words_of(why)}'
            ) from why
        return found


def _opened_channels(found: InputInfo, channel: int) -> int:
    """How many channels to open: never one of several, since sound systems then mix them down to one."""
    return min(found.channels, max(2, channel))


def _restart_portaudio(sd: Any) -> None:
    """Make PortAudio look at the machine's devices again; it does so only when it starts, privately."""
    with quiet_descriptor(), contextlib.suppress(sd.PortAudioError):
        sd._terminate()
        sd._initialize()
