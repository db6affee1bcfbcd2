"""Levels at the antenna socket: dBm and S-units by calibration, and the noise to expect there.

A calibration is one known level fed into the receiver and the audio level it made; it holds only for the same
RF gain, monitor level and gain control (off). S-units after IARU Region 1 Technical Recommendation R.1;
man-made and galactic noise after Rec. ITU-R P.372.
"""

from __future__ import annotations

import numpy as np

from telltick.model.on_air import Environment, ExpectedNoise

BOLTZMANN = 1.380649e-23  # J/K, exact (SI)
REFERENCE_K = 290.0
_S9_HF_DBM, _S9_VHF_DBM = -73.0, -93.0
_HF_BELOW_HZ = 30e6
_UNIT_DB = 6.0


def s_units(level_dbm: float, frequency_hz: float) -> str:
    """A level in S-units, such as ``S7`` or ``S9+10 dB``; below S1 it says ``below S1``.

    S9 is -73 dBm below 30 MHz and -93 dBm above 144 MHz, a unit is 6 dB (IARU Region 1 R.1). Between these
    frequencies, where the Recommendation is silent, the lower figure is used.
    """
    over_db = level_dbm - (_S9_HF_DBM if frequency_hz < _HF_BELOW_HZ else _S9_VHF_DBM)
    if over_db >= 0.5:
        return f"S9+{over_db:.0f} dB"
    unit = int(np.floor(9 + over_db / _UNIT_DB + 0.5))
    return f"S{unit}" if unit >= 1 else "below S1"


def dbm_of_s_units(unit: int, over_db: float, frequency_hz: float) -> float:
    """The level of an S-meter reading (IARU Region 1 R.1): 6 dB a unit, `over_db` above it."""
    s9_dbm = _S9_HF_DBM if frequency_hz < _HF_BELOW_HZ else _S9_VHF_DBM
    return s9_dbm + over_db - _UNIT_DB * (9 - unit)


# Median noise figure of a lossless short monopole: c - d log10(f / MHz) dB above k T0 B, and how far the
# upper and lower tenth of hours and places lie from it (P.372, Tables 1 and 2; galactic: its text).
_MEDIAN = {
    Environment.CITY: (76.8, 27.7, 11.0, 6.7),
    Environment.RESIDENTIAL: (72.5, 27.7, 10.6, 5.3),
    Environment.RURAL: (67.2, 27.7, 9.2, 4.6),
    Environment.QUIET_RURAL: (53.6, 28.6, 9.2, 4.6),
    Environment.GALACTIC: (52.0, 23.0, 2.0, 2.0),
}


def expected_noise(environment: Environment, frequency_hz: float, bandwidth_hz: float) -> ExpectedNoise:
    """Man-made or galactic noise after Rec. ITU-R P.372.

    Args:
        environment: kind of place.
        frequency_hz: 0.3 to 250 MHz (galactic: above about 10 MHz it reaches the ground).
        bandwidth_hz: noise bandwidth of the receiver.

    Raises:
        ValueError: the frequency lies outside the Recommendation's curves.
    """
    mhz = frequency_hz / 1e6
    if not 0.3 <= mhz <= 250:
        raise ValueError(f"P.372 gives noise from 0.3 to 250 MHz, not at {mhz:g} MHz")
    c, d, upper_db, lower_db = _MEDIAN[environment]
    figure_db = float(c - d * np.log10(mhz))
    dbm = figure_db + thermal_dbm(bandwidth_hz)
    return ExpectedNoise(figure_db, dbm, dbm - lower_db, dbm + upper_db)


def thermal_dbm(bandwidth_hz: float) -> float:
    """Thermal noise k T0 B in dBm: -173.98 dBm in 1 Hz at 290 K."""
    return float(10 * np.log10(1000 * BOLTZMANN * REFERENCE_K * bandwidth_hz))
