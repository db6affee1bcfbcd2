"""Characters on the line, against published tables and an independent reader."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from telltick.model.framing import Framing, line_bits, line_edges

CHAR_TIMES = (
    Path(__file__).parent / "char_times.csv"
)  # bits / baud; MODBUS over Serial Line V1.02 (2006), p. 13


def rows() -> list[dict[str, str]]:
    lines = [line for line in CHAR_TIMES.read_text().splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


@pytest.mark.parametrize("row", rows(), ids=lambda r: f"{r['baud']}-{r['framing']}")
def test_character_times_agree_with_the_table(row):
    framing = Framing.parse(row["framing"])
    assert framing.bits_per_char == int(row["bits_per_char"])
    assert framing.char_time_s(int(row["baud"])) * 1e6 == pytest.approx(float(row["char_time_us"]), abs=1e-3)


def read_line(levels: np.ndarray, framing: Framing) -> bytes:
    """Read characters the way a receiver does: find the start bit, take the data bits, skip the rest."""
    out, at = [], 0
    while at < len(levels):
        assert levels[at] == 0, "a character starts with a space"
        data = levels[at + 1 : at + 1 + framing.data_bits]
        out.append(sum(int(bit) << k for k, bit in enumerate(data)))
        if framing.parity != "N":
            ones = int(data.sum()) + int(levels[at + 1 + framing.data_bits])
            assert ones % 2 == (framing.parity == "O")
        assert levels[at + framing.bits_per_char - 1] == 1, "a character ends with a mark"
        at += framing.bits_per_char
    return bytes(out)


@given(st.binary(min_size=1, max_size=40), st.sampled_from(["8N1", "8N2", "8E1", "8O1"]))
def test_a_receiver_reads_back_what_was_sent(data, text):
    framing = Framing.parse(text)
    assert read_line(line_bits(data, framing), framing) == data


@given(st.binary(min_size=1, max_size=40))
def test_edges_alternate_and_return_the_line_to_idle(data):
    times, steps = line_edges(data, 9600, Framing())
    assert steps.sum() == 0
    assert steps[0] == -1
    assert (np.diff(steps) != 0).all()
    assert (np.diff(times) > 0).all()
    assert times[-1] <= len(data) * Framing().char_time_s(9600)


@pytest.mark.parametrize("text", ["", "9N1", "8X1", "8N3", "8N"])
def test_text_that_is_not_a_framing_is_refused(text):
    with pytest.raises(ValueError, match="framing must look like"):
        Framing.parse(text)
