"""Choosing sound inputs by name, and what is said where there are none. Real recording: tests/bench_parts."""

from __future__ import annotations

import os
import sys
from types import SimpleNamespace

import numpy as np
import pytest

from telltick.model.errors import DeviceError
from telltick.model.plan import AudioPlan
from telltick.sources import soundcard
from telltick.sources.portaudio import portaudio_problem
from telltick.sources.soundcard import InputInfo, SoundCard, choose_input, list_inputs

BUILT_IN = InputInfo("Built-in line: stereo", 2, 48_000, True, "system A", 0)
DONGLE = InputInfo("Receiver interface", 1, 48_000, False, "system A", 1)
SECOND = InputInfo("Receiver interface 2", 1, 44_100, False, "system A", 2)
AGAIN = InputInfo("Receiver interface 2", 1, 44_100, False, "system B", 3)
ALL = (BUILT_IN, DONGLE, SECOND, AGAIN)


@pytest.mark.parametrize(
    ("wanted", "index"),
    [
        (None, 0),
        ("built", 0),
        ("RECEIVER INTERFACE", 1),  # the whole name wins over a name that contains it
        ("interface 2", 2),  # offered twice: the first sound system serves
    ],
)
def test_an_input_is_found_by_its_name_or_a_part_of_it(wanted, index):
    assert choose_input(wanted, ALL).index == index


def test_a_part_that_fits_several_names_is_refused_with_those_names():
    with pytest.raises(DeviceError, match='"Receiver interface", "Receiver interface 2": give more') as told:
        choose_input("receiver", ALL)
    assert "Built-in" not in str(told.value)


def test_an_unknown_name_is_refused_with_every_input():
    with pytest.raises(DeviceError, match='no sound input "radio"; there is "Built-in line: stereo", "Rec'):
        choose_input("radio", ALL)


def test_a_machine_without_inputs_is_told_what_to_do():
    with pytest.raises(DeviceError, match="connect the receiver's audio"):
        choose_input(None, ())


def test_a_missing_library_is_explained_with_the_fix(monkeypatch):
    class Missing:
        def find_spec(self, name, path=None, target=None):
            if name == "sounddevice":
                raise OSError("PortAudio library not found")

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Missing(), *sys.meta_path])
    assert "PortAudio library is missing" in portaudio_problem()
    assert "install" in portaudio_problem()
    with pytest.raises(DeviceError, match="PortAudio library is missing"):
        list_inputs()


class FakeSystem:
    """Stands in for the sound library: two devices, one stream at a time."""

    PortAudioError = type("PortAudioError", (Exception,), {})
    default = SimpleNamespace(device=[1, -1])

    def __init__(self):
        self.streams, self.restarts, self.refuse = [], 0, False
        self.devices = [
            {"name": "Speakers", "max_input_channels": 0, "default_samplerate": 48000.0, "hostapi": 0},
            {"name": "Line in", "max_input_channels": 2, "default_samplerate": 48000.0, "hostapi": 0},
        ]

    def query_devices(self):
        os.write(2, b"chatter of a C library\n")
        return self.devices

    def query_hostapis(self):
        return ({"name": "system A", "default_input_device": 1},)

    def check_input_settings(self, device, channels, dtype, extra, rate):
        if rate != 48_000:
            raise self.PortAudioError("Invalid sample rate", -9997)

    def RawInputStream(self, **options):
        if self.refuse:
            raise self.PortAudioError("Device unavailable", -9985)
        stream = SimpleNamespace(options=options, calls=[])
        for name in ("start", "abort", "close"):
            setattr(stream, name, lambda name=name, **_: stream.calls.append(name))
        self.streams.append(stream)
        return stream

    def _terminate(self):
        self.restarts += 1

    def _initialize(self):
        pass


@pytest.fixture
def system(monkeypatch):
    fake = FakeSystem()
    monkeypatch.setitem(sys.modules, "sounddevice", fake)
    return fake


def deliver(system, samples: np.ndarray, overflow: bool = False) -> None:
    system.streams[-1].options["callback"](
        memoryview(samples.astype(np.int16).tobytes()),
        len(samples),
        None,
        SimpleNamespace(input_overflow=overflow),
    )


def test_inputs_are_listed_without_a_word_on_the_terminal(system, capfd):
    assert list_inputs() == (InputInfo("Line in", 2, 48_000, True, "system A", 1),)
    assert capfd.readouterr().err == ""


def test_one_channel_of_two_is_handed_over(system):
    card, blocks = SoundCard(AudioPlan(channel=2)), []
    card.start(blocks.append)
    deliver(system, np.array([[1, -1], [2, -2], [3, -3]]), overflow=True)
    assert blocks[0].samples.tolist() == [-1, -2, -3]
    assert blocks[0].overflow
    assert card.problem() is None


@pytest.mark.parametrize(
    ("plan", "words"),
    [
        ({"device": "speakers"}, 'no sound input "speakers"'),
        ({"channel": 3}, "has no channel 3: choose a channel from 1 to 2"),
        ({"rate_hz": 96_000}, "does not offer 96000 Hz: Invalid sample rate"),
    ],
)
def test_settings_that_the_input_cannot_meet_are_refused_in_one_line(system, plan, words):
    with pytest.raises(DeviceError, match=words) as told:
        SoundCard(AudioPlan(**plan))
    assert "\n" not in str(told.value)


def test_stopping_aborts_since_an_orderly_stop_may_hang(system):
    card = SoundCard(AudioPlan())
    card.start(lambda block: None)
    card.stop()
    card.stop()
    assert system.streams[0].calls == ["start", "abort", "close"]
    assert card.problem() == "the input is not open"


def test_an_ended_stream_and_a_silent_one_are_problems(system, monkeypatch):
    card = SoundCard(AudioPlan())
    card.start(lambda block: None)
    passed_s, begun = [0.0], soundcard.time.monotonic_ns()
    monkeypatch.setattr(soundcard.time, "monotonic_ns", lambda: begun + int(passed_s[0] * 1e9))
    deliver(system, np.zeros((960, 2)))
    passed_s[0] = 1.0
    assert card.problem() is None
    passed_s[0] = 2.0
    assert card.problem() == "no sound for 2.0 s"
    deliver(system, np.zeros((960, 2)))
    assert card.problem() is None
    system.streams[0].options["finished_callback"]()
    assert card.problem() == "the sound system ended the stream"


def test_the_first_block_may_take_as_long_as_an_idle_input_takes_to_wake(system, monkeypatch):
    card = SoundCard(AudioPlan())
    card.start(lambda block: None)
    begun = soundcard.time.monotonic_ns()
    monkeypatch.setattr(soundcard.time, "monotonic_ns", lambda: begun + 3_000_000_000)
    assert card.problem() is None
    monkeypatch.setattr(soundcard.time, "monotonic_ns", lambda: begun + 5_000_000_000)
    assert card.problem().startswith("no sound for 5.")


def test_a_second_start_looks_for_the_input_afresh_by_name(system):
    card = SoundCard(AudioPlan(device="line"))
    card.start(lambda block: None)
    system.devices.insert(0, system.devices[0])  # something else was plugged in: the numbers move
    card.start(lambda block: None)
    assert system.restarts == 1
    assert [stream.options["device"] for stream in system.streams] == [1, 2]


def test_an_input_that_is_taken_is_told_in_the_librarys_words(system):
    card = SoundCard(AudioPlan())
    system.refuse = True
    with pytest.raises(DeviceError, match='"Line in" could not be opened: Device unavailable'):
        card.start(lambda block: None)
