"""Changes watched until a word appears: how often is it false, and what would a cure cost?

``python -m tests.benchmarks.watched_changes [--benches 4000]``. Two sides grow together, a second at a time,
from 8 s to 160 s, and are looked at twenty times, evenly, or at every second. A word is false when it is ever
said: "changed" of two sides alike, "no change within 1 dB" of two that are 1 dB apart. Four rules are tried:

- one look: the tests of a length that was settled beforehand;
- program: the same with a part of the level at every look, as the program makes them (Pocock, Biometrika 64,
  1977);
- mixture: intervals that hold at every moment (Robbins, Ann. Math. Stat. 41, 1970; Howard, Ramdas, McAuliffe
  and Sekhon, Ann. Stat. 49, 2021, eq. 14), tuned to 15 s a side;
- doubled: looks at 15, 30, 60 and 120 s alone, each with a quarter of the level (Bonferroni).

The cost is the polls until the right word is said in 90 of 100 benches, as a multiple of those of a length
settled beforehand at which one look says it in 90 of 100.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from telltick.measure.changes import LEVEL
from telltick.measure.changes import LOOKS as CHANGES_LOOKS

Floats = npt.NDArray[np.float64]
FIRST_S, LAST_S, BOUND_DB, PLANNED_S = 8, 160, 1.0, 15.0
SECOND_DB = 2.0  # error of a difference after one second a side; 0.5 dB after 16 s
LOOKS = np.linspace(FIRST_S, LAST_S, 20).round().astype(int)
EVERY = np.arange(FIRST_S, LAST_S + 1)
DOUBLED = np.array([15, 30, 60, 120])


def one_look(at_s: Floats, level: float) -> Floats:
    """Errors that a one-sided test of a settled length asks for."""
    return np.full(len(at_s), -ndtri(level))


def program(at_s: Floats, level: float) -> Floats:
    """The same of every look."""
    return one_look(at_s, level / CHANGES_LOOKS)


def mixture(at_s: Floats, level: float) -> Floats:
    """The same of a normal mixture's boundary, crossed at no moment; two-sided at twice the level."""
    ratio = at_s / PLANNED_S * 8  # near the least boundary at the planned length
    return np.sqrt((1 + 1 / ratio) * (np.log1p(ratio) - 2 * np.log(2 * level)))


def doubled(at_s: Floats, level: float) -> Floats:
    """The same of four looks that share the level; infinite at other moments."""
    return np.where(np.isin(at_s, DOUBLED), -ndtri(level / len(DOUBLED)), np.inf)


Rule = Callable[[Floats, float], Floats]
RULES: dict[str, Rule] = {"one look": one_look, "program": program, "mixture": mixture, "doubled": doubled}


def differences(true_db: float, benches: int, seed: int) -> Floats:
    """Shape (benches, seconds): the difference found so far, at every second."""
    steps = np.random.default_rng(seed).normal(true_db, SECOND_DB, (benches, LAST_S))
    return np.cumsum(steps, axis=1) / np.arange(1, LAST_S + 1)


def said(found: Floats, at_s: npt.NDArray[np.int_], rule: Rule, word: str) -> npt.NDArray[np.bool_]:
    """Shape (benches, looks): is the word said at that look?"""
    seen, error = found[:, at_s - 1], SECOND_DB / np.sqrt(at_s)
    if word == "changed":
        return np.asarray(np.abs(seen) > error * rule(at_s.astype(float), LEVEL / 2))
    return np.asarray(np.abs(seen) + error * rule(at_s.astype(float), LEVEL) < BOUND_DB)


def seconds_to_say(found: Floats, rule: Rule, word: str, share: float = 0.9) -> float:
    """Seconds a side until the word is said in that share of the benches, looked at every second."""
    words = said(found, EVERY, rule, word)
    first = np.where(words.any(axis=1), EVERY[words.argmax(axis=1)], np.inf)
    return float(np.quantile(first, share, method="higher"))


def settled_seconds(found: Floats, word: str, share: float = 0.9) -> float:
    """The least length settled beforehand at which one look says the word in that share of the benches."""
    shares = said(found, EVERY, one_look, word).mean(axis=0)
    return float(EVERY[np.argmax(shares >= share)])


def print_table(benches: int) -> None:
    """Print how often words are false, and what it costs to hold them to the truth."""
    same, apart = differences(0.0, benches, 1), differences(BOUND_DB, benches, 2)
    print(f"{'ever said falsely':32}{'20 looks':>12}{'each second':>12}")
    for name, rule in RULES.items():
        for word, found in (("changed", same), ("no change", apart)):
            shares = [said(found, at_s, rule, word).any(axis=1).mean() for at_s in (LOOKS, EVERY)]
            print(f"{name:12}{word:20}" + "".join(f"{share:>12.1%}" for share in shares))
    cured = {name: rule for name, rule in RULES.items() if rule is not one_look}
    print(f"\n{'seconds a side':24}{'settled':>9}" + "".join(f"{name:>14}" for name in cured))
    cases = [("changed", true) for true in (1.0, 1.5, 2.0)] + [("no change", true) for true in (0.0, 0.3)]
    for word, true in cases:
        found = differences(true, benches, 3)
        settled = settled_seconds(found, word)
        took = [seconds_to_say(found, rule, word) for rule in cured.values()]
        cells = "".join(f"{one:>8.0f} ({one / settled:.1f})" for one in took)
        print(f"{word:10} at {true:3.1f} dB     {settled:>9.0f}{cells}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--benches", type=int, default=4000)
    print_table(parser.parse_args().benches)
