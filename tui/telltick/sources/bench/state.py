"""How the simulated bench stands, and what the operator's words do to it."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

DEFAULT_MONITOR_LEVEL = 5.0
GAIN_WORDS = ((r"min|low", -30.0), (r"half|mid", -12.0), (r"full|max|high", 0.0))
MONITOR_WORDS = (
    (r"off|min|none", 0.0),
    (r"low", 2.0),
    (r"normal|mid|half", 5.0),
    (r"high", 8.0),
    (r"full|max", 10.0),
)
DEFAULT_SETUP = {
    "antenna": "beam",
    "cable": "A",
    "choke": "none",
    "rf gain": "full",
    "monitor level": "5",
    "supply": "mains",
    "computer": "desk",
    "frequency": "14.100 MHz",
}


@dataclass(frozen=True, slots=True)
class BenchState:
    """The factors of the bench that the audio depends on.

    Attributes:
        dummy_load: True with a dummy load in place of the antenna.
        better_cable: True with any cable but the first.
        unplugged: True without a serial cable: the radio hears no request, the receiver no line.
        choke: True with a choke on the serial cable.
        rf_gain_db: RF gain relative to full.
        monitor_level: 0 to 10.
        battery: True with the radio on a battery.
        computer_battery: True with the computer on its battery.
    """

    dummy_load: bool = False
    better_cable: bool = False
    unplugged: bool = False
    choke: bool = False
    rf_gain_db: float = 0.0
    monitor_level: float = DEFAULT_MONITOR_LEVEL
    battery: bool = False
    computer_battery: bool = False

    def after(self, factor: str, value: str) -> BenchState:
        """The bench after a factor was set to a value in the operator's own words.

        Words that say nothing to the bench, and factors that its audio does not depend on (frequency), change
        nothing.
        """
        words = value.casefold()
        match factor.casefold().strip():
            case "antenna":
                return replace(self, dummy_load="dummy" in words or "load" in words)
            case "cable":
                unplugged = bool(re.search(r"unplug|disconnect|\b(out|off|none)\b", words))
                first = words.strip() in ("a", "cable a", "", "1", "first", "old")
                return replace(self, better_cable=not (first or unplugged), unplugged=unplugged)
            case "choke":
                return replace(self, choke=not re.search(r"\b(no|none|off|out|removed|without)\b|^$", words))
            case "rf gain":
                return replace(self, rf_gain_db=_gain_db(words, self.rf_gain_db))
            case "supply":
                return replace(self, battery="batter" in words)
            case "computer":
                return replace(self, computer_battery="batter" in words)
            case "monitor level":
                return replace(self, monitor_level=_level(words, self.monitor_level))
        return self


def _gain_db(words: str, before_db: float) -> float:
    for pattern, gain_db in GAIN_WORDS:
        if re.search(pattern, words):
            return gain_db
    number = _number(words)
    if number is None:
        return before_db
    return (
        number if "db" in words and number <= 0 else 0.3 * (min(number, 100.0) - 100.0)
    )  # per cent of the knob


def _level(words: str, before: float) -> float:
    for pattern, level in MONITOR_WORDS:
        if re.search(pattern, words):
            return level
    number = _number(words)
    return before if number is None else min(max(number, 0.0), 10.0)


def _number(words: str) -> float | None:
    match = re.search(r"-?\d+(\.\d+)?", words)
    return float(match[0]) if match else None
