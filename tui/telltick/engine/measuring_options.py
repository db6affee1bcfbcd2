"""What a user says on the command line about a session, as options for measuring it."""

from __future__ import annotations

import argparse
import re
from typing import Any

from telltick.measure.latency import SEARCH_S
from telltick.measure.on_air import frequency_in
from telltick.model.errors import BadInputError
from telltick.model.measurement import MeasuringOptions
from telltick.model.on_air import CalibrationPoint, Environment

_NUMBER = r"[-+]?\d+(?:\.\d+)?"
_AUDIO = rf"(?: ?= ?(?P<audio>{_NUMBER}) ?dBFS)?"
_FORMS = {
    "input_dbm": re.compile(rf"(?P<value>{_NUMBER}) ?dBm{_AUDIO}", re.ASCII | re.IGNORECASE),
    "s_meter": re.compile(rf"(?P<value>S[1-9](?: ?\+ ?\d\d?(?: ?dB)?)?){_AUDIO}", re.ASCII | re.IGNORECASE),
    "noise_figure_db": re.compile(rf"NF ?=? ?(?P<value>{_NUMBER}) ?dB{_AUDIO}", re.ASCII | re.IGNORECASE),
}
_MOST_BOUND_DB = 20.0


def measuring_options(args: argparse.Namespace) -> MeasuringOptions:
    """Options from the arguments of ``measure``.

    Raises:
        BadInputError: one of them cannot be used; the message names it.
    """
    return MeasuringOptions(
        latency_s=_latency_s(args.latency_ms),
        bound_db=_bound_db(args.bound_db),
        calibration=None if args.calibrate is None else calibration_point(args.calibrate),
        environment=None if args.environment is None else Environment(args.environment),
        frequency_hz=_frequency_hz(args.frequency),
    )


def calibration_point(text: str) -> CalibrationPoint:
    """A calibration point from words such as ``-73dBm=-41.2dBFS``, ``S9=-41dBFS`` or ``NF8dB``.

    Raises:
        BadInputError: they are none.
    """
    for key, form in _FORMS.items():
        match = form.fullmatch(text.strip())
        if match is not None:
            said: dict[str, Any] = {
                key: match["value"].upper() if key == "s_meter" else float(match["value"]),
                "audio_dbfs": None if match["audio"] is None else float(match["audio"]),
            }
            try:
                return CalibrationPoint(**said)
            except ValueError as why:
                raise BadInputError(f"--calibrate {text}: {why}") from why
    raise BadInputError(
        f"--calibrate {text}: write a level and what it reads, such as -73dBm=-41.2dBFS or S9=-41.2dBFS, "
        "or the receiver's noise figure, such as NF8dB, for a session with a dummy load"
    )


def _latency_s(milliseconds: float | None) -> float | None:
    if milliseconds is None:
        return None
    low, high = (1000 * edge for edge in SEARCH_S)
    if not low <= milliseconds <= high:
        raise BadInputError(f"--latency-ms must be {low:g} to {high:g}, not {milliseconds:g}")
    return milliseconds / 1000


def _bound_db(bound_db: float) -> float:
    if not 0 < bound_db <= _MOST_BOUND_DB:
        raise BadInputError(f"--bound-db must be above 0 and at most {_MOST_BOUND_DB:g}, not {bound_db:g}")
    return bound_db


def _frequency_hz(text: str | None) -> float | None:
    if text is None:
        return None
    frequency_hz = frequency_in(text)
    if frequency_hz is None:
        raise BadInputError(
            f"--frequency {text}: write a frequency of 0.3 to 250 MHz in kHz, such as 14100 (or 14.1MHz)"
        )
    return frequency_hz
