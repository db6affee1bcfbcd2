"""A serial line heard as sound, made from its own edges; the truth is the edges' exact times."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, lfilter, resample_poly

from telltick.model.framing import Framing, line_edges
from telltick.sources.line_signal import LineSignal, read_characters

RATE = 48_000
OVER = 16  # the line is drawn this much finer, then brought down by a polyphase filter as a sound card would
REQUEST, REPLY = b"Q1;", bytes(range(0, 256, 37)) + b"\x00\xff;"


def heard(
    bytes_at: list[tuple[float, bytes]],
    seconds: float = 1.0,
    *,
    baud: float = 9600,
    framing: Framing | None = None,
    step: float = 8_000,
    high_pass_hz: float | None = None,
    noise: float = 20.0,
    seed: int = 1,
) -> np.ndarray:
    """Audio of a line at mark -1, space +1, as RS-232 levels are; `step` negative turns it over."""
    fine = np.full(round(seconds * RATE * OVER), -1.0)
    for at_s, data in bytes_at:
        times, steps = line_edges(data, baud, framing or Framing())
        for time_s, change in zip(times, steps, strict=True):
            fine[round((at_s + time_s) * RATE * OVER) :] -= 2 * change / abs(change)
    if high_pass_hz is not None:
        b, a = butter(1, high_pass_hz / (RATE * OVER / 2), "high")
        fine = lfilter(b, a, fine + 1.0)
    audio = resample_poly(fine, 1, OVER) * step / 2
    audio += np.random.default_rng(seed).normal(0, noise, len(audio))
    return np.clip(np.round(audio), -32768, 32767).astype(np.int16)


def found(audio: np.ndarray, signal: LineSignal, block: int = 960) -> list:
    bursts = []
    for first in range(0, len(audio), block):
        bursts += signal.feed(first, audio[first : first + block])
    return bursts + signal.flush()


LINES = [(0.1 + 0.2 * k, REQUEST) for k in range(4)] + [(0.13 + 0.2 * k, REPLY) for k in range(4)]
LINES.sort()


@pytest.mark.parametrize(
    "coupling",
    [
        {},
        {"step": -8_000},
        {"high_pass_hz": 10.0},  # a usual sound input
        {"high_pass_hz": 300.0},  # strong droop
        {"high_pass_hz": 2_000.0},  # only pulses are left of the edges
        {"step": 300, "noise": 5.0},
        {"step": 60_000},  # overdriven: clipped at both ends
    ],
)
def test_bursts_are_found_to_the_sample_and_their_characters_read(coupling):
    bursts = found(heard(LINES, **coupling), LineSignal(RATE, 9600))
    assert [burst.data for burst in bursts] == [data for _, data in LINES]
    start = np.array([burst.start for burst in bursts])
    truth = np.array([at_s * RATE for at_s, _ in LINES])
    assert np.abs(start - truth).max() < 1.0
    length = np.array([burst.end - burst.start for burst in bursts])
    assert length == pytest.approx([len(data) * 10 / 9600 * RATE for _, data in LINES], abs=1.0)


@pytest.mark.parametrize(
    ("baud", "framing"),
    [(1200, "8N1"), (4800, "8N2"), (9600, "7E1"), (9600, "8O1"), (19200, "8N1"), (2400, "5N1")],
)
def test_other_rates_and_framings_are_read_too(baud, framing):
    shape = Framing.parse(framing)
    data = bytes(byte & ((1 << shape.data_bits) - 1) for byte in REPLY)
    (burst,) = found(heard([(0.3, data)], baud=baud, framing=shape), LineSignal(RATE, baud, shape))
    assert burst.data == data
    assert burst.start == pytest.approx(0.3 * RATE, abs=1.0)


def test_how_the_audio_is_cut_into_blocks_makes_no_difference():
    audio = heard(LINES, high_pass_hz=10.0)
    whole = found(audio, LineSignal(RATE, 9600))
    for block in (7, 333, len(audio)):
        assert found(audio, LineSignal(RATE, 9600), block) == whole


def test_without_a_rate_bursts_are_found_and_no_characters_read():
    requests = [line for line in LINES if line[1] == REQUEST]
    bursts = found(heard(requests), LineSignal(RATE))
    assert [burst.data for burst in bursts] == [b""] * 4
    assert [burst.start for burst in bursts] == pytest.approx([at * RATE for at, _ in requests], abs=1.0)
    last_edge = line_edges(REQUEST, 9600, Framing())[0][-1]
    assert [burst.end - burst.start for burst in bursts] == pytest.approx(
        [(last_edge + 1 / 9600) * RATE] * 4, abs=1.5
    )


def test_a_wrong_rate_still_tells_when_the_line_is_busy():
    bursts = found(heard([(0.3, b"\x55\x00\x55")], baud=1200), LineSignal(RATE, 1250 * 3))
    assert 0.3 * RATE - 1 < bursts[0].start < 0.32 * RATE


@pytest.mark.parametrize("level", [0.0, 3.0, 300.0])
def test_an_open_input_gives_no_characters(level):
    audio = np.random.default_rng(3).normal(0, level, 20 * RATE)
    assert found(np.round(audio).astype(np.int16), LineSignal(RATE, 9600)) == []


def test_hum_below_a_line_disturbs_nothing():
    hum = 3_000 * np.sin(2 * np.pi * 50 * np.arange(RATE) / RATE)
    audio = (heard(LINES, high_pass_hz=10.0) + hum).astype(np.int16)
    assert [burst.data for burst in found(audio, LineSignal(RATE, 9600))] == [data for _, data in LINES]


def test_a_jump_in_the_sample_index_parts_what_lies_on_its_two_sides():
    audio = heard([(0.0101, b"\x55" * 40)], 0.1)
    signal = LineSignal(RATE, 9600)
    before = signal.feed(0, audio[:960]) + signal.feed(50_000, audio[960:1920])
    assert all(burst.end < 1000 for burst in before)


def test_characters_are_read_from_edges_alone():
    data = bytes(range(256))
    edges, _ = line_edges(data, 1.0, Framing())
    assert bytes(value for _, _, value in read_characters(edges, 1.0, Framing())) == data
