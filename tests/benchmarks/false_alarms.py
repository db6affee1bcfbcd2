"""False alarms and detection loss: ``python -m tests.benchmarks.false_alarms [--runs 500]``.

False alarms: audio without any influence of the polls, watched after every poll for a minute; how often does
the e-value ever reach 100 (1 %) or 20 (5 %)? Once for coin trials (six slots in 200 ms), once for polls of
others against the quiet beside them. Each stretch of audio serves ten independent schedules.

Detection loss: log powers of slots with 72 degrees of freedom (30 ms of 2400 Hz); the I/N at which half, and
nine in ten, of the trials are proven at the 1 % level within 100 polls, against an ideal detector that knows
noise and interference and tests once, after 100 polls. In static it knows the polls that a crash hit as well,
7 % of them, and leaves them out. With K slots no fair test can lose less than 5 log10(K / (K - 1)) dB, and
none that is valid at every moment less than 0.9 dB on top of that; for others' polls, each held against one
stretch beside it, K = 2.
"""

from __future__ import annotations

import argparse

import numpy as np
from scipy import stats

from telltick.measure.evidence import tie_log_e
from telltick.measure.frames import FrameSpec, power_frames
from telltick.measure.trial import CoinBet
from tests.scenes import make_scene

NULLS = ("clean", "hum", "speech", "static", "fading", "agc", "clicks", "speech+static")
SECONDS, CYCLE_S, SLOTS = 60.0, 0.2, 6
SCHEDULES = 10
SHAPE = 72
CRASHES = 0.07  # share of slots that static hits


def slot_powers(seed: int, background: str, shift_s: float) -> np.ndarray:
    """Shape (cycles, slots): log in-band power of slots of a minute of audio without interference."""
    scene = make_scene(seed, excess_db=None, background=background, seconds=SECONDS, rate_hz=8000)
    spec = FrameSpec.for_rate(scene.rate_hz)
    band = (spec.freq_hz >= 300) & (spec.freq_hz <= 2700)
    power = power_frames(scene.samples, spec)[:, band].sum(axis=1, dtype=np.float64)
    total = np.concatenate([[0.0], np.cumsum(power)])
    cycles = int((SECONDS - 1) / CYCLE_S)
    start_s = shift_s + CYCLE_S * (np.arange(cycles)[:, None] + np.arange(SLOTS) / SLOTS)
    first = np.rint(start_s / spec.hop_s).astype(int)
    return np.log((total[first + 5] - total[first]) / 5 + 1e-30)


def false_alarms(background: str, runs: int) -> np.ndarray:
    """Shape (runs, 2): highest log e-value of the coin trial and of others' polls."""
    out = []
    for seed in range(-(-runs // SCHEDULES)):
        rng = np.random.default_rng(1000 + seed)
        for _ in range(SCHEDULES):
            y = slot_powers(seed, background, 0.0) if not len(out) % SCHEDULES else y  # noqa: F821
            drawn = rng.integers(0, SLOTS, len(y))
            flat = y.ravel()
            place = int(rng.integers(2, SLOTS)) + SLOTS * np.arange(len(y) - 1)  # others' polls, steady
            beside = np.logaddexp(flat[place - 2], flat[place + 2]) - np.log(2)  # as `reading.contrasts` does
            out.append((CoinBet().add(y, drawn).max(), tie_log_e(flat[place] - beside).max()))
    return np.array(out)


def slots_with(
    rng: np.random.Generator, runs: int, i_over_n: float, slots: int, *, static: bool
) -> list[float]:
    """Highest log e-value after 100 polls of each run."""
    highest = []
    for _ in range(runs):
        power = rng.gamma(SHAPE, 1 / SHAPE, (100, slots))
        drawn = rng.integers(0, slots, 100)
        power[np.arange(100), drawn] *= 1 + i_over_n
        if static:
            crash = np.where(rng.random(power.shape) < CRASHES, rng.uniform(5, 32, power.shape), 0)
            power *= 10 ** (crash / 10)
        highest.append(float(CoinBet().add(np.log(power), drawn).max()))
    return highest


def polls_with(rng: np.random.Generator, runs: int, i_over_n: float, *, static: bool) -> list[float]:
    """Highest log e-value after 100 polls of others of each run, each poll against one stretch beside it."""
    highest = []
    for _ in range(runs):
        power = rng.gamma(SHAPE, 1 / SHAPE, (100, 2))
        power[:, 0] *= 1 + i_over_n
        if static:
            crash = np.where(rng.random(power.shape) < CRASHES, rng.uniform(5, 32, power.shape), 0)
            power *= 10 ** (crash / 10)
        highest.append(float(tie_log_e(np.log(power[:, 0] / power[:, 1])).max()))
    return highest


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
    for background in NULLS:
        highest = false_alarms(background, runs)
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
