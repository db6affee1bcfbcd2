"""Would it matter on the air? N and I at the antenna socket, beside the noise to expect there.

Levels are as from one calibration point; the noise to expect is man-made or galactic after Rec. ITU-R P.372,
in the bandwidth that is measured. Interference three decibels below the band's noise raises it by less than
two: hidden. Three above: heard.
"""

from __future__ import annotations

import re

from telltick.measure.levels import dbm_of_s_units, expected_noise, s_units, thermal_dbm
from telltick.model.on_air import Calibration, CalibrationPoint, Environment, OnAir
from telltick.model.readings import Band, Reading

CLEAR_DB = 3.0
_FREQUENCY = re.compile(r"\s*(\d+(?:\.\d+)?)\s*([kM]?Hz)?\s*", re.ASCII | re.IGNORECASE)
_UNIT_HZ = {"hz": 1.0, "khz": 1e3, "mhz": 1e6}
RANGE_HZ = (0.3e6, 250e6)  # of Rec. ITU-R P.372


def calibration_from(
    point: CalibrationPoint,
    frequency_hz: float,
    own_noise_dbfs: float | None = None,
    band: Band | None = None,
) -> Calibration | None:
    """What a calibration point says of level and audio; None where its audio level is not known.

    A receiver with noise figure F, a dummy load on its antenna socket, hears as much noise as one without
    any of its own would hear of k T0 B F (Friis, "Noise figures of radio receivers", 1944).

    Args:
        point: what is known.
        frequency_hz: what the receiver is tuned to; S-units depend on it.
        own_noise_dbfs: N with a dummy load, where it was measured.
        band: the band measured, 300-2700 Hz unless given.
    """
    audio_dbfs = point.audio_dbfs
    if point.input_dbm is not None:
        input_dbm, how = point.input_dbm, "known input level"
    elif point.s_meter is not None:
        input_dbm, how = dbm_of_s_units(*point.s_units, frequency_hz), f"S-meter at {point.s_meter}"
    else:
        input_dbm = thermal_dbm((band or Band()).width_hz) + (point.noise_figure_db or 0.0)
        how = f"noise figure of {point.noise_figure_db:g} dB, dummy load"
        audio_dbfs = own_noise_dbfs if audio_dbfs is None else audio_dbfs
    if audio_dbfs is None:
        return None
    return Calibration(input_dbm=input_dbm, audio_dbfs=audio_dbfs, how=point.how or how)


def on_air(
    reading: Reading,
    calibration: Calibration,
    frequency_hz: float,
    environment: Environment,
    band: Band | None = None,
) -> OnAir | None:
    """Levels of a reading at the antenna socket; None without a noise floor.

    Args:
        reading: what was measured.
        calibration: made with the same RF gain, monitor level and gain control.
        frequency_hz: what the receiver is tuned to, 0.3 to 250 MHz.
        environment: kind of place.
        band: the band measured, 300-2700 Hz unless given.

    Raises:
        ValueError: Rec. ITU-R P.372 has no noise for that frequency.
    """
    if reading.noise_dbfs is None:
        return None
    expected = expected_noise(environment, frequency_hz, (band or Band()).width_hz)
    noise_dbm = calibration.dbm(reading.noise_dbfs)
    heard = reading.interference_dbfs
    dbm = None if heard is None else calibration.dbm(heard)
    over_db = None if dbm is None else dbm - expected.dbm
    return OnAir(
        noise_dbm=noise_dbm,
        interference_dbm=dbm,
        noise_s=s_units(noise_dbm, frequency_hz),
        interference_s="" if dbm is None else s_units(dbm, frequency_hz),
        frequency_hz=frequency_hz,
        environment=environment,
        expected=expected,
        over_expected_db=over_db,
        verdict=_verdict(over_db),
    )


def _verdict(over_db: float | None) -> str:
    if over_db is None:
        return "no interference found"
    if over_db <= -CLEAR_DB:
        return "hidden by band noise"
    return "heard above band noise" if over_db >= CLEAR_DB else "about as strong as band noise"


def frequency_in(text: str) -> float | None:
    """A frequency in Hz from words such as ``14.100 MHz`` or ``7050 kHz`` (kHz where no unit is given).

    Returns:
        None where it is no frequency that Rec. ITU-R P.372 has noise for.
    """
    match = _FREQUENCY.fullmatch(text)
    if match is None:
        return None
    frequency_hz = float(match[1]) * _UNIT_HZ[(match[2] or "kHz").lower()]
    return frequency_hz if RANGE_HZ[0] <= frequency_hz <= RANGE_HZ[1] else None
