"""From rows to a reading: N, I, excess with its interval, verdict, upper limit, warnings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from telltick.measure.account import MIN_POLLS, Account, account_of
from telltick.measure.banded import SpectrumSums
from telltick.measure.excess import Excess, Method
from telltick.measure.frames import from_db, to_db
from telltick.measure.latency import SEARCH_S, THRESHOLD
from telltick.measure.robust import interval, student_t
from telltick.measure.rows import PollRows
from telltick.measure.tones import tonal_bins
from telltick.model.readings import Band, Estimate, Latency, PollingFacts, Reading, Spectrum, Verdict
from telltick.model.traffic import Rhythm

LEVEL = 0.01  # chance of a false "tied to polling"
TOO_QUIET_DBFS = -85.0  # 16-bit steps alone make about -108 dBFS in the band; converters are worse
UNSETTLED = "It is louder beside the bytes than with them: the latency is not settled yet."
STEADY = (
    "Anything else with the polls' steady rhythm would look tied to them too: "
    "a coin trial tells, or stopping and starting the polls."
)
_LESS_THAN_NOTHING_DB = 0.3
_RESTLESS = 0.02  # share of quiet far from the floor; 0.0005 in steady noise
_SURE_SCORE = 8.0  # a latency this clear was not picked by chance


def take_reading(
    rows: PollRows, band: Band | None = None, *, latency: Latency | None, p_value: float | None = None
) -> Reading:
    """Measure one stretch.

    Args:
        rows: the stretch, measured with the gate at this latency.
        band: the band to measure, 300-2700 Hz unless given.
        latency: the latency in use, or None when none stands out (rows then lie at any latency).
        p_value: of a tie, where it is told by evidence that goes beyond the rows; they are asked otherwise.
    """
    account = account_of(rows, band, latency=latency, evidence=p_value is None)
    return reading_of(account, latency, p_value)


def reading_of(account: Account, latency: Latency | None, p_value: float | None = None) -> Reading:
    """The same from what a reading rests on."""
    found = account.found
    if p_value is None and account.log_e is not None:
        tests = 1.0 if latency is None else _latencies_tried(account, latency)
        p_value = float(min(1.0, tests * np.exp(-account.log_e[0])))
    if found is None or p_value is None:
        return _too_few(account)
    if latency is None and _beside_the_sound(found):
        return replace(_too_few(account), warnings=(UNSETTLED,))
    noise = found.noise / account.share
    tied = latency is not None and p_value <= LEVEL and found.ratio > 0
    steady = (STEADY,) if tied and latency is not None and _only_the_rhythm(account, latency) else ()
    return Reading(
        polls=account.polls,
        seconds=account.seconds,
        noise_dbfs=float(to_db(noise)),
        interference_dbfs=float(to_db(noise * found.ratio)) if tied else None,
        excess_db=_excess(found) if tied else _with_zero(_excess(found), account),
        i_over_n_db=float(to_db(found.ratio)) if found.ratio > 0 else None,
        verdict=Verdict.TIED if tied else Verdict.NO_TIE,
        p_value=p_value if latency is not None else 1.0,
        upper_limit_i_over_n_db=_upper_limit_db(found, latency),
        warnings=(*_warnings(account, found), *steady),
    )


def _only_the_rhythm(account: Account, latency: Latency) -> bool:
    """Would a strict rhythm of the polls' own period explain what is heard as well as the polls do?

    The search for the latency tells: where the audio, moved by a whole period, fits the polls as well
    (`Latency.modulo_s`), what is heard does not follow their unevenness. Where it could not look a period
    away (polls far apart, a latency that was given), polls tell no more than their rhythm when it is strict.
    """
    return latency.modulo_s is not None or account.strict


def _excess(found: Excess) -> Estimate | None:
    """The excess with its interval; None where the polls lie too close together in time for an interval."""
    estimate = interval(found.excess_db, found.error_db, found.dof)
    told = np.isfinite([estimate.value, estimate.low, estimate.high]).all()
    return estimate if told else None


def _with_zero(estimate: Estimate | None, account: Account) -> Estimate | None:
    """Without a tie, in noise that comes and goes by itself, the interval reaches to zero.

    Polls count only when what lies beside them is calm. What is on for a moment is then heard in polls and
    never beside them: the choice alone would read an excess.
    """
    if estimate is None or account.restless < _RESTLESS:
        return estimate
    return replace(estimate, low=min(estimate.low, 0.0), high=max(estimate.high, 0.0))


def _beside_the_sound(found: Excess) -> bool:
    """Is it surely louder beside the gate than in it? Then the gate lies elsewhere than what is heard."""
    estimate = _excess(found)
    return estimate is not None and estimate.high < -_LESS_THAN_NOTHING_DB


def _too_few(account: Account) -> Reading:
    frames = account.quiet_frames
    noise = account.quiet / frames / account.share if frames else 0.0
    if account.polls >= MIN_POLLS:
        warning = (
            "The polls follow each other so closely that no quiet audio is left between them: slow them down."
        )
    else:
        more = MIN_POLLS - account.polls
        warning = f"Not enough polls for a reading: {more} more {'is' if more == 1 else 'are'} needed."
    noise_dbfs = float(to_db(noise)) if noise > 0 else None
    return Reading(account.polls, account.seconds, noise_dbfs, warnings=(warning,))


def _latencies_tried(account: Account, latency: Latency) -> float:
    """How many independent latencies a search looks through: its range over the length of a burst.

    A latency that was found in this audio and then locked was searched for all the same.
    """
    if latency.score >= _SURE_SCORE:
        return 1.0
    return (SEARCH_S[1] - SEARCH_S[0]) / max(0.010, account.on_s)


def _upper_limit_db(found: Excess, latency: Latency | None) -> float | None:
    """Upper end of a one-sided 95 % interval for I / N.

    With an unknown latency any I that the search for it would have missed is possible: up to its threshold,
    in standard errors, and that once more widened to 95 %.
    """
    if not np.isfinite(found.ratio_error) or found.dof < 1:
        return None
    widening = student_t(0.95, found.dof) * found.ratio_error
    base = max(found.ratio, 0.0) if latency is not None else THRESHOLD * found.ratio_error
    return float(to_db(base + widening))


def _warnings(account: Account, found: Excess) -> tuple[str, ...]:
    out = []
    if account.lost > 0.5:
        out.append(
            f"Steady tones fill {100 * account.lost:.0f} % of the band; the reading rests on the rest of it."
        )
    if account.gain.reacts:
        out.append(
            "The receiver's gain gives way to the bursts, so the excess is at least what is shown: "
            "switch automatic gain control off, or set the RF gain by hand."
        )
    if found.method is Method.BALANCE and account.counted >= MIN_POLLS:
        out.append("Some polls are far louder than the rest; the excess is that of their mean power.")
    if found.method is Method.DENSE:
        out.append(
            "Hardly any quiet is left between the polls, so the floor is worked out from the gaps: "
            "poll more slowly for a sharper reading."
        )
    if found.noise < from_db(TOO_QUIET_DBFS):
        out.append("The audio is so quiet that the sound input's own noise may set the floor: turn it up.")
    return tuple(out)


def spectrum_of(rows: PollRows, band: Band | None = None) -> Spectrum:
    """Average spectra of a stretch: quiet, while bytes flow, and the floor without steady tones."""
    return SpectrumSums.of(rows, tonal_bins(rows, band or Band())).spectrum()


def polling_facts(rhythm: Rhythm, seconds: float, baud: int | None = None, framing: str = "") -> PollingFacts:
    """How the radio was polled during `seconds` of audio."""
    intervals = rhythm.interval_s
    return PollingFacts(
        polls=rhythm.polls,
        interval_median_s=float(np.median(intervals)) if len(intervals) else None,
        interval_sd_s=float(np.std(intervals, ddof=1)) if len(intervals) > 1 else None,
        baud=baud,
        framing=framing,
        byte_on_fraction=rhythm.on_s / seconds if seconds > 0 else 0.0,
    )
