"""False alarms and detection loss: ``python -m tests.benchmarks.false_alarms [--runs 500]``.

False alarms: audio without any influence of the polls, watched after every poll for a minute; how often does
the e-value ever reach 100 (1 %) or 20 (5 %)? Once for coin trials (six slots in 200 ms), once for polls of
others, five a second, against two stretches of quiet on each side. Each minute of audio serves two schedules.

Detection loss: log powers of slots with 72 degrees of freedom (30 ms of 2400 Hz); the I/N at which half, and
nine in ten, of the trials are proven at the 1 % level within 100 polls, against an ideal detector that knows
noise and interference and tests once, after 100 polls. In static it knows the polls that a crash hit as well,
7 % of them, and leaves them out. With K slots no fair test can lose less than 5 log10(K / (K - 1)) dB, and
none that is valid at every moment less than 0.9 dB on top of that; for others' polls K is one more than the
stretches beside each.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from itertools import repeat

import numpy as np
from scipy import stats

from telltick.measure.evidence import tie_log_e
from telltick.measure.frames import FrameSpec, power_frames
from telltick.measure.trial import CoinBet
from telltick.model.clock import Floats
from telltick.model.traffic import Ints
from tests.scenes import make_scene

NULLS = ("clean", "hum", "speech", "static", "fading", "agc", "clicks", "speech+static")
SECONDS, CYCLE_S, SLOTS = 60.0, 0.2, 6
BESIDE_S = (0.0, -0.048, 0.048, -0.080, 0.080)  # a poll and the stretches beside it, as in `contrasts`
BESIDE_FRAMES = 6
SCHEDULES = 2
SHAPE = 72
CRASHES = 0.07  # share of slots that static hits


def frame_sums(seed: int, background: str) -> tuple[Floats, float]:
    """Running sum of the in-band power of a minute of audio without interference, and the frames' hop."""
    scene = make_scene(seed, excess_db=None, background=background, seconds=SECONDS, rate_hz=8000)
    spec = FrameSpec.for_rate(scene.rate_hz)
    band = (spec.freq_hz >= 300) & (spec.freq_hz <= 2700)
    power = power_frames(scene.samples, spec)[:, band].sum(axis=1, dtype=np.float64)
    return np.concatenate([[0.0], np.cumsum(power)]), spec.hop_s


def log_powers(sums: Floats, hop_s: float, at_s: Floats, frames: int) -> Floats:
    """Log of the mean power of so many frames from each moment on."""
    first = np.rint(at_s / hop_s).astype(int)
    return np.asarray(np.log((sums[first + frames] - sums[first]) / frames + 1e-30))


def coin_slots(sums: Floats, hop_s: float) -> Floats:
    """Shape (cycles, slots): log powers of the slots of a coin trial."""
    cycles = np.arange(int((SECONDS - 1) / CYCLE_S))[:, None]
    return log_powers(sums, hop_s, CYCLE_S * (cycles + np.arange(SLOTS) / SLOTS), 5)


def others_polls(rng: np.random.Generator, sums: Floats, hop_s: float) -> Floats:
    """Shape (polls, 5): log powers of steady polls and of two stretches on each side of them."""
    at_s = rng.uniform(0.2, 0.4) + CYCLE_S * np.arange(int((SECONDS - 1) / CYCLE_S) - 1)
    at_s += rng.uniform(-0.003, 0.003, len(at_s))
    return log_powers(sums, hop_s, at_s[:, None] + BESIDE_S, BESIDE_FRAMES)


def others_log_e(levels: Floats, frames_shape: float = SHAPE) -> Floats:
    """Log e-value after each of others' polls, as `contrasts` hands them to the evidence."""
    sides = levels[:, :1] - levels[:, 1:]
    turn = np.arange(len(sides)) % 2
    return tie_log_e(sides[np.arange(len(sides)), turn], sides, float(np.sqrt(2 / frames_shape)))


def minute(background: str, seed: int) -> list[tuple[float, float]]:
    """Highest log e-value of the coin trial and of others' polls, for each schedule of a minute of audio."""
    rng = np.random.default_rng(1000 + seed)
    sums, hop_s = frame_sums(seed, background)
    slots, out = coin_slots(sums, hop_s), []
    for _ in range(SCHEDULES):
        drawn = rng.integers(0, SLOTS, len(slots))
        others = others_log_e(others_polls(rng, sums, hop_s))
        out.append((float(CoinBet().add(slots, drawn).max()), float(others.max())))
    return out


def slots_with(
    rng: np.random.Generator, runs: int, i_over_n: float, slots: int, *, static: bool
) -> list[float]:
    """Highest log e-value after 100 polls of each run of a coin trial."""
    highest = []
    for _ in range(runs):
        noise = rng.gamma(SHAPE, 1 / SHAPE, (100, slots))
        drawn = rng.integers(0, slots, 100)
        levels = heard_in(rng, noise, drawn, i_over_n, static=static)
        highest.append(float(CoinBet().add(levels, drawn).max()))
    return highest


def polls_with(rng: np.random.Generator, runs: int, i_over_n: float, *, static: bool) -> list[float]:
    """Highest log e-value after 100 polls of others of each run, each poll between two stretches a side."""
    highest, first = [], np.zeros(100, dtype=np.int64)
    for _ in range(runs):
        noise = rng.gamma(SHAPE, 1 / SHAPE, (100, len(BESIDE_S)))
        highest.append(float(others_log_e(heard_in(rng, noise, first, i_over_n, static=static)).max()))
    return highest


def heard_in(
    rng: np.random.Generator, power: Floats, drawn: Ints, i_over_n: float, *, static: bool
) -> Floats:
    """Shape (polls, slots): log powers of noise, the drawn slots with interference; in static some crash."""
    power[np.arange(len(power)), drawn] *= 1 + i_over_n
    if static:
        crash = np.where(rng.random(power.shape) < CRASHES, rng.uniform(5, 32, power.shape), 0)
        power *= 10 ** (crash / 10)
    return np.asarray(np.log(power))


def ideal_db(power: float, *, static: bool) -> float:
    """I/N in dB at which a test of known noise and interference, fixed at 100 polls, has this power."""
    shape = 100 * SHAPE * (1 - CRASHES * static)
    needed = stats.gamma.ppf(0.99, shape) / stats.gamma.ppf(1 - power, shape) - 1
    return float(10 * np.log10(needed))


def loss_db(slots: int, runs: int, *, static: bool) -> tuple[float, float]:
    """Loss at 50 % and 90 % power after 100 polls; no slots are polls of others.

    The share of runs that are proven is smoothed over I/N by probit regression, a parabola in dB.
    """
    rng = np.random.default_rng(5)
    grid = np.arange(-16.0, -7.9, 0.5)
    share = np.array([_proven(rng, runs, 10 ** (db / 10), slots, static=static) for db in grid])
    use = (share > 0.02) & (share < 0.99)
    curve = np.polyfit(grid[use], stats.norm.ppf(share[use]), 2)
    fine = np.linspace(grid[0], grid[-1], 4000)
    power = np.maximum.accumulate(stats.norm.cdf(np.polyval(curve, fine)))
    return tuple(float(fine[np.argmax(power >= p)]) - ideal_db(p, static=static) for p in (0.5, 0.9))


def _proven(rng: np.random.Generator, runs: int, i_over_n: float, slots: int, *, static: bool) -> float:
    """Share of runs that are proven at the 1 % level within 100 polls."""
    if slots:
        highest = slots_with(rng, runs, i_over_n, slots, static=static)
    else:
        highest = polls_with(rng, runs, i_over_n, static=static)
    return float(np.mean(np.array(highest) >= np.log(100)))


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=500)
    parser.add_argument("--only", choices=("alarms", "loss"), help="one of the two tables")
    asked = parser.parse_args()
    if asked.only != "loss":
        alarm_table(asked.runs)
    if asked.only != "alarms":
        loss_table(asked.runs)


def alarm_table(runs: int) -> None:
    """How often noise alone would be called tied."""
    print(f"False alarms in {runs} runs of a minute, per cent: coin trial at 1, 5 %; others' polls at 1, 5 %")
    with ProcessPoolExecutor() as pool:
        for background in NULLS:
            minutes = pool.map(minute, repeat(background), range(-(-runs // SCHEDULES)), chunksize=4)
            highest = np.array([one for schedules in minutes for one in schedules])
            shares = [100 * np.mean(highest[:, k] >= np.log(n)) for k in (0, 1) for n in (100, 20)]
            print(f"{background:<14}", "  ".join(f"{share:5.1f}" for share in shares), flush=True)


def loss_table(runs: int) -> None:
    """How much stronger interference must be than for the ideal detector."""
    print("Detection loss of the coin trial within 100 polls in dB, at 50 % and at 90 % power")
    for static in (False, True):
        for slots in (16, 6, 5, 2, 0):
            half, most = loss_db(slots, runs, static=static)
            name, what = "static" if static else "clean", f"{slots:2d} slots" if slots else "others' polls"
            print(f"{name:<7} {what:<14}  {half:5.2f}  {most:5.2f}", flush=True)


if __name__ == "__main__":
    main()
