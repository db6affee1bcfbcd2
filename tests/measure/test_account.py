"""Accounts of pieces joined tell what one account of all rows would."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from telltick.measure.account import Account, account_of, joined_accounts, joined_error
from telltick.measure.banded import sums_of
from telltick.measure.reading import reading_of
from telltick.measure.rows import PollRows, measure_rows
from telltick.measure.stretches import joined_stretches, stretch_of
from telltick.model.readings import Estimate, Latency, Verdict
from tests.scenes import make_scene

KNOWN = Latency(Estimate(0.0, 0.0, 0.0), score=100.0)


def banded(seed: int, seconds: float = 60.0, **how) -> PollRows:
    scene = make_scene(seed, seconds=seconds, rate_hz=8000, **how)
    return sums_of(measure_rows(scene.samples, 0, 8000, scene.gate.shifted(scene.latency_s)))[0]


def cut(rows: PollRows, *shares: float) -> list[PollRows]:
    """The rows in pieces that end at shares of the whole."""
    edges = [0, *(round(share * len(rows.poll)) for share in shares), len(rows.poll)]
    return [rows.pick(slice(*two)) for two in pairwise(edges)]


def accounts(rows: PollRows, *shares: float) -> list[Account]:
    return [account_of(part, latency=KNOWN) for part in cut(rows, *shares)]


@pytest.mark.parametrize("background", ["clean", "fading", "static"])
@pytest.mark.parametrize("excess_db", [1.0, 6.0, 20.0])
def test_pieces_joined_read_as_the_whole(background, excess_db):
    rows = banded(2, background=background, excess_db=excess_db)
    whole = account_of(rows, latency=KNOWN)
    joined = joined_accounts(accounts(rows, 0.3, 0.6))
    assert (joined.polls, joined.quiet_frames) == (whole.polls, whole.quiet_frames)
    assert joined.seconds == pytest.approx(whole.seconds)
    assert joined.found.method is whole.found.method
    assert joined.found.excess_db == pytest.approx(whole.found.excess_db, abs=0.5 * whole.found.error_db)
    assert joined.found.error_db == pytest.approx(whole.found.error_db, rel=0.3)
    assert joined.found.noise == pytest.approx(whole.found.noise, rel=0.02)


def test_sides_of_pieces_joined_are_those_of_the_whole():
    rows = banded(3, excess_db=6.0)
    whole = stretch_of(rows, KNOWN).side
    joined = joined_stretches([stretch_of(part, KNOWN) for part in cut(rows, 0.4)]).side
    assert (joined.polls, joined.gain_reacts) == (whole.polls, whole.gain_reacts)
    for name in ("noise", "interference", "excess_db"):
        here, there = getattr(joined, name), getattr(whole, name)
        assert here.value == pytest.approx(there.value, abs=0.5 * there.error)
        assert here.error == pytest.approx(there.error, rel=0.3)


def test_evidence_goes_on_from_piece_to_piece():
    rows = banded(4, excess_db=0.3, seconds=240.0)
    parts, whole = accounts(rows, 0.25, 0.5, 0.75), account_of(rows, latency=KNOWN)
    joined = joined_accounts(parts)
    assert joined.log_e[0] > 1.5 * max(part.log_e[0] for part in parts)
    assert joined.log_e[0] == pytest.approx(whole.log_e[0], rel=0.15)
    assert reading_of(joined, KNOWN).verdict is Verdict.TIED


def test_evidence_was_highest_when_it_was_and_not_at_the_end():
    ups = [account_of(banded(5, excess_db=0.0), latency=KNOWN)] * 3
    told = [(5.0, 2.0), (3.0, -1.0), (1.0, 0.5)]
    parts = [Account(**{**vars(one), "log_e": log_e}) for one, log_e in zip(ups, told, strict=True)]
    assert joined_accounts(parts).log_e == (5.0, 1.5)
    assert joined_accounts(parts[1:]).log_e == (3.0, -0.5)


def test_pieces_far_louder_than_others_are_told_by_their_mean_power():
    loud, faint = (account_of(banded(6, excess_db=db), latency=KNOWN) for db in (12.0, 1.0))
    joined = joined_accounts([loud, faint])
    power = np.mean([10 ** (one.found.excess_db / 10) for one in (loud, faint)])
    assert joined.found.excess_db == pytest.approx(10 * np.log10(power), abs=0.05)
    assert any("louder" in warning for warning in reading_of(joined, KNOWN).warnings)


def test_a_piece_with_too_few_polls_adds_its_polls_and_no_excess():
    rows = banded(7, excess_db=6.0)
    many, few = accounts(rows, 0.98)
    assert few.found is None
    joined = joined_accounts([many, few])
    assert joined.polls == rows.polls
    assert joined.found.excess_db == many.found.excess_db
    assert reading_of(joined_accounts([few, few]), KNOWN).excess_db is None


def test_what_the_method_may_be_off_by_does_not_average_out():
    shares = np.full(100, 0.01)
    assert joined_error([0.1] * 100, [0.0] * 100, shares) == pytest.approx(0.01)
    assert joined_error([0.006] * 100, [0.006] * 100, shares) == pytest.approx(0.006)
    many = [account_of(banded(8, excess_db=6.0), latency=KNOWN)] * 400
    assert joined_accounts(many).found.error_db > many[0].found.own_error_db >= 0.006


def test_a_stretch_of_bins_is_refused():
    scene = make_scene(1, seconds=10.0, rate_hz=8000)
    with pytest.raises(ValueError, match="band"):
        stretch_of(measure_rows(scene.samples, 0, 8000, scene.gate), KNOWN)
