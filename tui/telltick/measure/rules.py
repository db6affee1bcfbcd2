"""The rules of path finding, as one table: what to look at, what it speaks for, and what it rules out.

A *look* is something that a session can show: a swap of one factor, or a sign that needs no swap (the tie
itself, the coin trial, the portrait, the tone). Each row of `PATHS` says which outcome of which look supports
a way in and which rules it out, and why the trade thinks so. Reasoning without a source is marked: common
practice, no source. To change how telltick argues, change this table.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from telltick.measure.vocabulary import POLLING, REQUEST, Kind

GONE_DB = 6.0  # what falls by this much with a swap came, for the most part, by what was swapped
NOISE_FALL_DB = 3.0  # turning the gain down must lower N by this before it tells anything
AHEAD_SHARE, BEHIND_SHARE = 0.5, 0.25  # of the fall of N, in dB: I follows by more than / by less than
INAUDIBLE_DB = -12.0  # I / N below which polling does not count as heard: 0.27 dB of excess


class Seen(StrEnum):
    """What a look may show. Of a swap several may hold at once: what is gone has also fallen."""

    GONE = "I fell by 6 dB or more"
    FELL = "I fell by more than the bound"
    MOVED = "I fell or rose by more than the bound"
    STAYED = "I stayed within the bound"
    NOT_LESS = "I did not fall by more than the bound"
    WITH_NOISE = "I fell as N fell"
    APART = "I stayed while N fell"
    NOISE_FELL = "N fell by more than the bound"
    YES = "yes"
    NO = "no"
    BEFORE_REPLY = "between request and reply"
    IN_REQUEST = "during the request already"


class Look(StrEnum):
    """What can be looked at."""

    TIE = "tie"
    TRIAL = "coin trial"
    POLLING_OFF = "polling off"
    DUMMY_LOAD = "dummy load"
    CHOKE = "choke"
    OTHER_CABLE = "other cable"
    UNPLUGGED = "cable unplugged"
    BATTERY = "battery"
    OTHER_SUPPLY = "other supply"
    COMPUTER_OFF = "computer off"
    COMPUTER_BATTERY = "computer on battery"
    LESS_GAIN = "less gain"
    FREQUENCY = "other frequency"
    LESS_MONITOR = "less monitor"
    TONE = "tone"
    CARRIER = "portrait"
    UNANSWERED = "unanswered request"
    INTERVAL = "other interval"


@dataclass(frozen=True)
class Swap:
    """A swap of one factor, turned so that it goes towards `to`.

    Attributes:
        factor: what changes.
        to: kinds of value it goes to, from any other kind; empty for any two values.
        among: from one value of these kinds to another, instead.
        down: it goes from a higher to a lower value instead.
        press: value to set when it is proposed.
        returns: it counts only when the bench went back, so that drift of the floor is known.
        effort: 1 for a key or knob, 2 for a plug, 3 for tools.
    """

    factor: str
    to: tuple[Kind, ...] = ()
    among: bool = False
    down: bool = False
    press: str = ""
    returns: bool = False
    effort: int = 1


SWAPS: Mapping[Look, Swap] = {
    Look.POLLING_OFF: Swap(POLLING, (Kind.OFF,), press="off"),
    Look.DUMMY_LOAD: Swap("antenna", (Kind.DUMMY, Kind.NONE), press="dummy load", effort=2),
    Look.CHOKE: Swap("choke", (Kind.FITTED, Kind.OTHER), press="fitted", effort=2),
    Look.OTHER_CABLE: Swap("cable", (Kind.OTHER,), among=True, press="B", effort=2),
    Look.UNPLUGGED: Swap("cable", (Kind.NONE,), press="unplugged", returns=True, effort=2),
    Look.BATTERY: Swap("supply", (Kind.BATTERY,), press="battery", effort=3),
    Look.OTHER_SUPPLY: Swap("supply", (Kind.MAINS, Kind.OTHER), among=True, press="another supply", effort=3),
    Look.COMPUTER_OFF: Swap("computer", (Kind.OFF,), press="off", returns=True, effort=3),
    Look.COMPUTER_BATTERY: Swap("computer", (Kind.BATTERY,), press="on battery", effort=2),
    Look.LESS_GAIN: Swap("rf gain", down=True, press="minimum"),
    Look.FREQUENCY: Swap("frequency", press="another band"),
    Look.LESS_MONITOR: Swap("monitor level", down=True, press="0"),
    Look.TONE: Swap("baud", press="4800", effort=2),
    Look.UNANSWERED: Swap(REQUEST, (Kind.NONE,), press="ignored by the radio", effort=2),
    Look.INTERVAL: Swap("poll interval", press="0.5 s"),
}


@dataclass(frozen=True)
class Line:
    """One look and what its outcomes mean for a way in.

    Attributes:
        look: what is looked at.
        supports: outcomes that speak for the way in.
        rules_out: outcomes that rule it out.
    """

    look: Look
    supports: tuple[Seen, ...] = ()
    rules_out: tuple[Seen, ...] = ()


@dataclass(frozen=True)
class Path:
    """One way in.

    Attributes:
        name: stable; scripts rely on it.
        question: as a reader asks it.
        lines: the looks that bear on it.
        reasoning: why.
        all_needed: only when every look with a ruling-out outcome rules it out is it ruled out.
        weight: how much it matters to know.
        support_wins: one look that supports it stands, whatever the others do not show; otherwise the
            two contradict each other.
    """

    name: str
    question: str
    lines: tuple[Line, ...]
    reasoning: str
    all_needed: bool = False
    support_wins: bool = False
    weight: float = 1.0


PRACTICE = "Common practice, no source."

PATHS: tuple[Path, ...] = (
    Path(
        "tied to polling",
        "Is it tied to the polling at all?",
        (
            Line(Look.TRIAL, supports=(Seen.YES,)),
            Line(Look.TIE, supports=(Seen.YES,), rules_out=(Seen.NO,)),
            Line(Look.POLLING_OFF, supports=(Seen.GONE,)),
        ),
        "What rises whenever bytes flow and falls when they stop goes with them (Ville's inequality bounds "
        "the odds that chance looks so). A coin trial draws the moments by lot: nothing else knows them.",
        support_wins=True,
    ),
    Path(
        "antenna",
        "Does it come in through the antenna and its feed line?",
        (Line(Look.DUMMY_LOAD, supports=(Seen.GONE,), rules_out=(Seen.NOT_LESS,)),),
        "A dummy load in place of the antenna takes away what the antenna picks up and leaves what gets in "
        f"by any other way. {PRACTICE}",
    ),
    Path(
        "cable",
        "Is it carried or radiated by the serial or USB cable?",
        (
            Line(Look.CHOKE, supports=(Seen.FELL,), rules_out=(Seen.STAYED,)),
            Line(Look.OTHER_CABLE, supports=(Seen.MOVED,), rules_out=(Seen.STAYED,)),
        ),
        "A common-mode choke or a better screened cable lowers what runs along the outside of the cable. "
        "Neither alone acquits it: a choke may be the wrong one for the frequency, two cables may be alike. "
        f"{PRACTICE}",
        all_needed=True,
        support_wins=True,
    ),
    Path(
        "computer",
        "Is it made by the computer itself rather than by the polling?",
        (
            Line(Look.TIE, rules_out=(Seen.YES,)),
            Line(Look.TRIAL, rules_out=(Seen.YES,)),
            Line(Look.UNPLUGGED, supports=(Seen.NOISE_FELL,)),
            Line(Look.COMPUTER_OFF, supports=(Seen.NOISE_FELL,)),
        ),
        "What a computer radiates or sends along its cable is there between the polls too: the quiet between "
        "polls falls when the cable is pulled out or the computer switched off. A floor that stays acquits "
        "nothing, since clicks now and then hardly raise it; but what comes with each poll is made by "
        f"polling. {PRACTICE}",
    ),
    Path(
        "supply",
        "Does it come through the supply?",
        (
            Line(Look.BATTERY, supports=(Seen.MOVED,), rules_out=(Seen.STAYED,)),
            Line(Look.OTHER_SUPPLY, supports=(Seen.MOVED,)),
            Line(Look.COMPUTER_BATTERY, supports=(Seen.MOVED,)),
        ),
        "A battery has neither the ripple nor the ground path through the mains that a supply brings: what "
        f"comes that way changes with it. {PRACTICE}",
        support_wins=True,
    ),
    Path(
        "ahead of rf gain",
        "Does it enter ahead of the RF gain control?",
        (Line(Look.LESS_GAIN, supports=(Seen.WITH_NOISE,), rules_out=(Seen.APART,)),),
        "What enters ahead of the RF gain control is turned down with the noise from the antenna. "
        f"{PRACTICE}",
    ),
    Path(
        "behind rf gain",
        "Does it enter behind the RF gain control, as in audio stages?",
        (Line(Look.LESS_GAIN, supports=(Seen.APART,), rules_out=(Seen.WITH_NOISE,)),),
        "What enters behind the RF gain control stays while the noise falls. " + PRACTICE,
    ),
    Path(
        "frequency",
        "Does it depend on the tuned frequency?",
        (Line(Look.FREQUENCY, supports=(Seen.MOVED,), rules_out=(Seen.STAYED,)),),
        "What is picked up as radio waves differs from frequency to frequency; what gets into the audio does "
        f"not know the frequency. {PRACTICE}",
        support_wins=True,
        weight=0.5,
    ),
    Path(
        "monitor",
        "Does it come through the transmit-monitor path?",
        (Line(Look.LESS_MONITOR, supports=(Seen.FELL,), rules_out=(Seen.STAYED,)),),
        "What leaks into the transmit-monitor (sidetone) path follows its level control, and may still be "
        f"there at zero where it leaks in behind the control. {PRACTICE}",
    ),
    Path(
        "data line",
        "Is it the data line itself that is heard?",
        (
            Line(Look.TONE, supports=(Seen.YES,)),
            Line(Look.CARRIER, rules_out=(Seen.BEFORE_REPLY,)),
        ),
        "The edges of the characters have a tone of their own that follows the character rate: a line of "
        "characters has its spectral comb at multiples of baud / bits per character (Fourier series of the "
        "start and stop bits). Between request and reply the line is at rest.",
    ),
    Path(
        "command handling",
        "Is it the radio's handling of the commands?",
        (
            Line(Look.CARRIER, supports=(Seen.BEFORE_REPLY,), rules_out=(Seen.IN_REQUEST,)),
            Line(Look.UNANSWERED, supports=(Seen.GONE,), rules_out=(Seen.NOT_LESS,)),
            Line(Look.TONE, rules_out=(Seen.YES,)),
        ),
        "A radio begins to work when the request is over, and works only on requests that it answers. What "
        "goes with the replies may as well be their bytes, unless the portrait puts it before them. "
        f"{PRACTICE}",
    ),
    Path(
        "repetition",
        "Does the repetition follow the polling interval?",
        (Line(Look.INTERVAL, supports=(Seen.YES,), rules_out=(Seen.NO,)),),
        "Noise made by polling comes as often as the radio is polled, whatever the interval. " + PRACTICE,
        weight=0.5,
    ),
)
