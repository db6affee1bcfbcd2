"""The ways in: what makes the noise, and how strongly each state of the bench couples it into the receiver.

The receiver is small on purpose: antenna noise and the receiver's own noise enter ahead of the RF gain
control, the audio stages' noise behind it. Interference enters at one of these places, or through the
transmit monitor. The figures are plausible, not measured: invented for the bench.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from telltick.sources.bench.state import DEFAULT_MONITOR_LEVEL, BenchState

ANTENNA_NOISE_DBFS = -40.46  # with the beam and full gain; with the next two it makes -40 dBFS
FRONT_NOISE_DBFS = -50.0  # the receiver's own, ahead of the gain control: what a dummy load leaves
AUDIO_NOISE_DBFS = -70.0  # behind the gain control
UNPLUGGED_DB = -120.0
DUMMY_LOAD_LEAK_DB = -40.0  # what still reaches the receiver of whatever the antenna picks up


class Source(StrEnum):
    """What makes the noise."""

    LINE = "the data line"
    HANDLING = "the radio at work on a request"
    COMPUTER = "the computer, whether it polls or not"


@dataclass(frozen=True, slots=True)
class Coupling:
    """One way in, at its default state of 0 dB.

    Attributes:
        source: what makes the noise.
        by_antenna: True when the antenna picks it up, so that a dummy load takes it away.
        before_gain: True when it enters ahead of the RF gain control.
        by_monitor: True when it comes through the transmit monitor and follows its level.
        better_cable_db: change with another cable.
        choke_db: change with a choke on the serial cable.
        battery_db: change with the radio on a battery.
        computer_battery_db: change with the computer on its battery.
    """

    source: Source = Source.LINE
    by_antenna: bool = False
    before_gain: bool = True
    by_monitor: bool = False
    better_cable_db: float = 0.0
    choke_db: float = 0.0
    battery_db: float = 0.0
    computer_battery_db: float = 0.0

    def gain_db(self, state: BenchState) -> float:
        """Coupling relative to the default state."""
        if state.unplugged:
            return UNPLUGGED_DB
        gain_db = state.rf_gain_db if self.before_gain else 0.0
        if self.by_antenna and state.dummy_load:
            gain_db += DUMMY_LOAD_LEAK_DB
        if self.by_monitor:
            gain_db += 20.0 * math.log10(max(state.monitor_level, 1e-6) / DEFAULT_MONITOR_LEVEL)
        if state.better_cable:
            gain_db += self.better_cable_db
        if state.battery:
            gain_db += self.battery_db
        if state.computer_battery:
            gain_db += self.computer_battery_db
        return gain_db + (self.choke_db if state.choke else 0.0)


COUPLINGS: dict[str, Coupling | None] = {
    "none": None,
    "cable": Coupling(better_cable_db=-14.0, choke_db=-8.0),
    "antenna": Coupling(by_antenna=True, better_cable_db=-3.0, choke_db=-8.0),
    "behind gain": Coupling(before_gain=False),
    "monitor": Coupling(before_gain=False, by_monitor=True),
    "data line": Coupling(),
    "command handling": Coupling(Source.HANDLING),
    "supply": Coupling(before_gain=False, battery_db=-30.0),
    "computer": Coupling(Source.COMPUTER, better_cable_db=-14.0, choke_db=-8.0, computer_battery_db=-10.0),
}
