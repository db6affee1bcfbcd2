"""Who carries the interference: ``python -m tests.benchmarks.portrait [--runs 20]``.

Noise that comes with one part of the poll only, 1 ms of timing jitter, a minute of 5 polls a second at 4800
and 9600 baud, turn-around 3 or 20 ms, in several kinds of background. Right, wrong, cannot tell, per cent.
Wrong is any other carrier than the true one; where the turn-around is short, "both ways" and "from the
request's start to the reply's end" look alike and either is right.
"""

from __future__ import annotations

import argparse
from itertools import product

import numpy as np

from telltick.measure.cells import power_cells
from telltick.measure.latency import find_latency
from telltick.measure.portrait import carrier_of
from telltick.model.characteristics import Carrier
from tests.measure.test_portrait import LATENCY_S, parts_of
from tests.scenes import band_noise, make_scene, poll_gate

RATE_HZ = 8000
SECONDS = 60.0
LONG_S = 0.010  # a turn-around this long can be seen
ALIKE = {Carrier.BYTES, Carrier.WHOLE}
BACKGROUNDS = ("clean", "hum", "speech", "static", "fading", "agc")


def answer(seed: int, carrier: Carrier, background: str, excess_db: float) -> tuple[str, float]:
    """How the answer compares with the truth, and its lead."""
    rng = np.random.default_rng([seed, 1])  # not that of the scene: the hiss would beat with its noise
    turnaround_s = (0.003, 0.02)[seed % 2]
    gate = poll_gate(rng, SECONDS, baud=(4800, 9600)[seed // 2 % 2], turnaround_s=turnaround_s)
    scene = make_scene(
        seed, excess_db=None, seconds=SECONDS, rate_hz=RATE_HZ, background=background, gate=gate
    )
    count = len(scene.samples)
    sounding = np.zeros(count)
    for start, end in zip(*parts_of(gate.shifted(LATENCY_S))[carrier], strict=True):
        late = rng.normal(0, 0.001)
        sounding[int((start + late) * RATE_HZ) : int((end + late) * RATE_HZ)] = 1
    hiss = np.sqrt(10 ** (excess_db / 10) - 1) * sounding * band_noise(rng, count, RATE_HZ)
    scale = 10 ** (scene.truth.noise_dbfs / 20) / np.sqrt(2) * 32768
    samples = np.clip(scene.samples + np.rint(scale * hiss), -32768, 32767).astype(np.int16)
    cells = power_cells(samples, 0, RATE_HZ)
    latency = find_latency(cells.power, cells.first, gate)
    if latency is None:
        return "silent", 0.0
    told, lead = carrier_of(cells.power, cells.first, gate, latency)
    if told is Carrier.UNKNOWN:
        return "silent", lead
    same = told is carrier or (turnaround_s < LONG_S and {told, carrier} == ALIKE)
    return ("right" if same else "wrong"), lead


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=20)
    runs = parser.parse_args().runs
    carriers = list(parts_of(poll_gate(np.random.default_rng(0), 5.0)))
    total = dict.fromkeys(("right", "wrong", "silent"), 0)
    print(f"Per cent of {runs} runs: right, wrong, cannot tell")
    for background, excess_db in product(BACKGROUNDS, (1.0, 3.0, 10.0)):
        shares = []
        for carrier in carriers:
            kinds = [answer(seed, carrier, background, excess_db)[0] for seed in range(runs)]
            for kind in kinds:
                total[kind] += 1
            shares.append(" ".join(f"{100 * kinds.count(kind) / runs:3.0f}" for kind in total))
        names = "   ".join(f"{c.name.lower()} {share}" for c, share in zip(carriers, shares, strict=True))
        print(f"{background:<7} {excess_db:4.0f} dB   {names}", flush=True)
    spoken = total["right"] + total["wrong"]
    print(f"Wrong in {100 * total['wrong'] / max(spoken, 1):.1f} % of the {spoken} times it spoke")


if __name__ == "__main__":
    main()
