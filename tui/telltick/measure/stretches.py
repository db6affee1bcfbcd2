"""A stretch of a session measured once for all that is asked of it: its reading, and its side of comparisons.

Rows may be let go of afterwards. What was found of stretches that follow each other, or that have one setup,
is joined where their rows are no longer there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from telltick.measure.account import Account, account_of, joined_accounts, joined_error, shares_of
from telltick.measure.equivalence import Mean
from telltick.measure.rows import PollRows
from telltick.measure.sides import Side, common_errors, side_of
from telltick.measure.tones import band_bins
from telltick.model.clock import Floats
from telltick.model.readings import Band, Latency


@dataclass(frozen=True)
class Stretch:
    """What was measured of a stretch.

    Attributes:
        account: what its reading rests on.
        side: what it is in a comparison, where a latency is known.
    """

    account: Account
    side: Side


def stretch_of(rows: PollRows, latency: Latency | None) -> Stretch:
    """Measure a stretch.

    Args:
        rows: its rows, with the bins of the band added up, in order of time.
        latency: the latency in use; None when none stands out.

    Raises:
        ValueError: the bins were not added up.
    """
    if rows.summed is None:
        raise ValueError("a stretch is measured from rows of a band")
    account = account_of(rows, latency=latency)
    side = side_of(rows, band_bins(rows, Band()), account.found)
    return Stretch(account.in_little_memory(), side)


def joined_stretches(parts: Sequence[Stretch]) -> Stretch:
    """Stretches as one.

    Args:
        parts: in order of time, at least one.
    """
    if len(parts) == 1:
        return parts[0]
    account = joined_accounts([one.account for one in parts])
    return Stretch(account, _joined_sides([one.side for one in parts], parts, account))


def _joined_sides(sides: Sequence[Side], parts: Sequence[Stretch], account: Account) -> Side:
    lulls = [one.noise for one in sides if one.noise is not None]
    lull_shares = shares_of([one.seconds for one in sides if one.noise is not None])
    noise = _joined_means(lulls, common_errors(lulls), lull_shares)
    filled_in = float(shares_of([one.seconds for one in sides]) @ [one.filled_in for one in sides])
    side = Side(account.polls, account.seconds, noise, None, None, filled_in=filled_in)
    heard = [(one.side.interference, one.account) for one in parts if one.side.interference is not None]
    found = account.found
    if found is None or not heard:
        return side
    common = common_errors(
        [one for one, _ in heard], [of.found.noise if of.found else 0.0 for _, of in heard]
    )
    shares = shares_of([float(of.counted or of.polls) for _, of in heard])
    return replace(
        side,
        interference=_joined_means([one for one, _ in heard], common, shares),
        excess_db=Mean(found.excess_db, found.error_db, max(found.dof, 1)),
        gain_reacts=account.gain.reacts,
    )


def _joined_means(means: Sequence[Mean], common: Sequence[float], shares: Floats) -> Mean | None:
    """A weighted mean of means, part of whose errors is the same in all; None for none."""
    if not means:
        return None
    error = joined_error([one.error for one in means], common, shares)
    value = float(shares @ np.array([one.value for one in means]))
    return Mean(value, error, sum(one.dof for one in means))
