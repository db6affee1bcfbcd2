"""The simulated line against the spectrum of framed NRZ.

`serial_line_spectrum.csv`: derived in closed form for continuous characters with independent, equally likely
data bits, levels +/-A; the power of the spectral lines at multiples of the character rate.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from telltick.model.framing import Framing, line_edges
from telltick.sources.bench.paths import Coupling
from telltick.sources.bench.receiver import COUPLING_CORNER_HZ, Edges, Receiver
from telltick.sources.bench.state import BenchState

TABLE = Path(__file__).parent / "serial_line_spectrum.csv"
FORMS = ("8N1", "8N2", "7E1", "8E1", "8N1_bit7_zero")


def rows(form: str) -> list[dict[str, str]]:
    text = [row for row in TABLE.read_text(encoding="utf-8").splitlines() if not row.startswith("#")]
    return [row for row in csv.DictReader(text) if row["framing"] == form]


def line_powers(form: str) -> dict[int, float]:
    """Order of the line -> two-sided power relative to A^2."""
    return {int(row["n"]): float(row["line_power_two_sided"]) for row in rows(form)}


def random_bytes(form: str, count: int) -> bytes:
    highest = 128 if form in ("7E1", "8N1_bit7_zero") else 256
    return np.random.default_rng(4).integers(0, highest, count, dtype=np.uint8).tobytes()


@pytest.mark.parametrize("form", FORMS)
def test_lines_of_continuous_random_characters_agree_with_the_table(form):
    framing = Framing.parse(form[:3])
    at, step = line_edges(random_bytes(form, 20_000), 1.0, framing)  # 1 baud: frequency in units of the rate
    length = 20_000 * framing.bits_per_char
    factor = float(rows(form)[0]["continuum_factor"])
    for n, power in line_powers(form).items():
        if n == 0 or power < 1e-3:  # weaker lines drown in the continuum of so few characters
            continue
        f = n / framing.bits_per_char
        # From edges of height 2A to the level: division by j 2 pi f.
        amplitude = np.sum(2 * step * np.exp(-2j * np.pi * f * at)) / (2j * np.pi * f) / length
        # The continuum adds a random part; the table gives its power too: 4 standard deviations.
        blur = 4 * np.sqrt(2 * factor * np.sinc(f) ** 2 / (length * power))
        assert abs(amplitude) ** 2 == pytest.approx(power, rel=blur)


def test_lines_heard_through_the_receiver_agree_with_the_table():
    rate_hz, baud, count = 12_000, 4800, 9600
    at, step = line_edges(random_bytes("8N1", count), baud, Framing())
    receiver = Receiver(0, rate_hz, Coupling())
    seconds, size = count * 10 // baud, 1200
    edges = Edges(at * rate_hz, step)
    blocks = [
        receiver.render_parts(first, size, edges, BenchState()).interference
        for first in range(0, seconds * rate_hz, size)
    ]
    spectrum = np.fft.rfft(np.concatenate(blocks)) / (seconds * rate_hz)
    for n in range(1, 6):
        hz = n * 480
        level = spectrum[hz * seconds] * rate_hz / (2j * np.pi * hz) * (1 + 1j * hz / COUPLING_CORNER_HZ)
        heard_db = 10 * np.log10(abs(2 * level) ** 2 / line_powers("8N1")[n])
        assert heard_db == pytest.approx(0.0, abs=0.6)
