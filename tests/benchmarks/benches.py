"""Two hundred simulated benches, driven through every way in: what do the findings say of each?

``python -m tests.benchmarks.benches [--count 200]``. Printed by way in and by path of the findings: right,
undecided (contradictory and not tested included) and wrong. Wrong must be 0: the true path is never ruled
out, and no other is called supported.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator
from itertools import islice, product

from telltick.model.answers import Answers, PathVerdict
from telltick.sources.bench.paths import COUPLINGS, Source
from tests.measure.benches import round_of

LEVELS_DB = (-3.0, 0.0, 5.5, 12.0)
FULL = (
    ("antenna", "dummy load"), ("antenna", "beam"), ("choke", "fitted"), ("choke", "none"), ("cable", "B"),
    ("cable", "A"), ("rf gain", "minimum"), ("rf gain", "full"), ("monitor level", "0"),
    ("monitor level", "5"), ("baud", "4800"), ("baud", "9600"), ("supply", "battery"), ("supply", "mains"),
    ("poll interval", "0.4 s"), ("poll interval", "0.2 s"), ("cable", "unplugged"), ("cable", "A"),
    ("request", "ignored by the radio"), ("request", "answered by the radio"), ("polling", "off"),
)  # fmt: skip
ONE_WAY = (
    ("choke", "fitted"), ("cable", "B"), ("rf gain", "half"), ("antenna", "dummy load"),
    ("monitor level", "2"), ("supply", "battery"), ("baud", "19200"),
)  # fmt: skip
TWICE = (
    ("antenna", "dummy load"), ("antenna", "beam"), ("antenna", "dummy load"), ("antenna", "beam"),
    ("rf gain", "half"), ("rf gain", "full"), ("rf gain", "half"), ("polling", "off"), ("polling", "on"),
)  # fmt: skip
SCRIPTS = {"full": (8.0, FULL), "one way": (12.0, ONE_WAY), "twice": (10.0, TWICE)}
ALWAYS_FALSE = ("frequency",)  # the bench's audio does not know the frequency


def truth_of(way_in: str) -> dict[str, bool | None]:
    """What is true of each path of the findings; None where nothing is."""
    coupling = COUPLINGS[way_in]
    if coupling is None:
        nothing = ("tied to polling", "antenna", "cable", "computer", "supply", "monitor", "data line")
        return dict.fromkeys((*nothing, "command handling", "repetition", *ALWAYS_FALSE), False)
    tied = coupling.source is not Source.COMPUTER
    return {
        "tied to polling": tied,
        "antenna": coupling.by_antenna,
        "cable": bool(coupling.choke_db or coupling.better_cable_db),
        "computer": not tied,
        "supply": bool(coupling.battery_db),
        "ahead of rf gain": coupling.before_gain,
        "behind rf gain": not coupling.before_gain,
        "monitor": coupling.by_monitor,
        "data line": coupling.source is Source.LINE,
        "command handling": coupling.source is Source.HANDLING,
        "repetition": tied,
        **dict.fromkeys(ALWAYS_FALSE, False),
    }


def judged(answers: Answers, way_in: str) -> dict[str, str]:
    """Path of the findings -> right, undecided or wrong."""
    truth = truth_of(way_in)
    out = {}
    for finding in answers.findings:
        says = {PathVerdict.SUPPORTED: True, PathVerdict.RULED_OUT: False}.get(finding.verdict)
        true = truth.get(finding.path)
        out[finding.path] = "undecided" if says is None else "right" if says is true else "wrong"
        if says is not None and true is None:
            out[finding.path] = "wrong"
    return out


def benches() -> Iterator[tuple[int, str, float, str]]:
    """Seed, way in, level and script, without end."""
    for turn in range(1_000_000):
        for k, (script, level, way_in) in enumerate(product(SCRIPTS, LEVELS_DB, COUPLINGS)):
            yield 1000 * turn + k, way_in, level, script


def main() -> None:
    """Run, and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args()
    by_way: dict[str, Counter[str]] = {}
    by_path: dict[str, Counter[str]] = {}
    for seed, way_in, level, script in islice(benches(), options.first, options.first + options.count):
        seconds, swaps = SCRIPTS[script]
        told = round_of(seed, way_in, seconds, *swaps, i_over_n_db=level, characters=True)
        answers = told.answers()
        for path, how in judged(answers, way_in).items():
            by_way.setdefault(way_in, Counter())[how] += 1
            by_path.setdefault(path, Counter())[how] += 1
            if how == "wrong":
                because = next(one for one in answers.findings if one.path == path)
                print(f"WRONG seed {seed}, {way_in} at {level} dB, {script}: {because}", flush=True)
        print(".", end="", flush=True)
    for title, table in (("way in", by_way), ("path", by_path)):
        print(f"\n\n{title:20}{'right':>10}{'undecided':>12}{'wrong':>8}")
        for name, counts in table.items():
            print(f"{name:20}{counts['right']:10}{counts['undecided']:12}{counts['wrong']:8}")


if __name__ == "__main__":
    main()
