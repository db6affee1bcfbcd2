"""The usual cautions of the bench. They defer to local codes and licensed practice, which come first.

All of them: common practice, no source.
"""

from __future__ import annotations

SERIAL_LINES = (
    "Opening a serial port can raise its control lines (DTR, RTS) for a moment. On many stations one of them "
    "keys the transmitter: switch the transmitter off or to its lowest power, or unplug the keying line, "
    "before the first open."
)
SERIAL_LINES_IN_SHORT = (
    "Opening a serial port can pulse the lines that key a transmitter: have it off or at its lowest power."
)
DUMMY_LOAD = "Never transmit into a small dummy load: a receiving load burns at transmit power."
SUPPLY = "Switch the radio and its supply off before changing supply leads; mind polarity and fuses."
LIGHTNING = "Do not handle antennas or feed lines in thunderstorm weather."
HEADPHONES = "Turn the volume down before you put headphones on or swap a cable."
FRAMES = (
    "Poll only with read-only queries from the radio's own command manual; send nothing that could transmit."
)
POLL_CHANNEL = (
    "Never connect a serial line straight to a sound input: its levels (up to 25 V either way on an RS-232 "
    "port) can destroy it. Use an attenuator, and a transformer or an optocoupler that keeps the grounds "
    "apart: a common ground is itself a way in for interference."  # 25 V: TIA-232-F, from memory
)
FIRST = "Local electrical codes and licensed practice come first."

ALL = (SERIAL_LINES, FRAMES, POLL_CHANNEL, DUMMY_LOAD, SUPPLY, LIGHTNING, HEADPHONES, FIRST)

BY_FACTOR = {
    "request": FRAMES,
    "antenna": f"{DUMMY_LOAD} {LIGHTNING}",
    "supply": SUPPLY,
    "cable": HEADPHONES,
    "rf gain": HEADPHONES,
    "monitor level": HEADPHONES,
}
