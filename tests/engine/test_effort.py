"""The share done of a measurement follows the time its parts take, not the order they come in."""

from __future__ import annotations

import pytest

from telltick.engine.effort import Effort, Work
from telltick.model.errors import CancelledError


class Clock:
    s = 0.0

    def __call__(self) -> float:
        return self.s


def worked(costs_s: dict[Work, float], amounts: dict[Work, int]) -> list[tuple[float, float]]:
    """(share told, share of the time that was truly spent) after each unit of work."""
    clock, told = Clock(), []
    effort = Effort(lambda share: told.append((share, clock.s)) is None, clock)
    for work, amount in amounts.items():
        effort.expect(work, amount)
    for work, amount in amounts.items():
        for _ in range(amount):
            clock.s += costs_s[work]
            effort.done(work, 1)
    return [(share, at_s / clock.s) for share, at_s in told]


@pytest.mark.parametrize("look_s", [0.1, 0.6, 3.0])
def test_near_the_end_the_share_is_that_of_the_time_whatever_a_look_costs(look_s):
    shares = worked({Work.ROWS: 0.003, Work.LOOK: look_s, Work.BITS: 1.0}, {Work.ROWS: 600, Work.LOOK: 20})
    late = [(told, true) for told, true in shares if true > 0.8]
    assert late
    assert all(told == pytest.approx(true, abs=0.05) for told, true in late)


def test_a_slow_machine_changes_nothing():
    costs = {Work.ROWS: 0.003, Work.LOOK: 0.6}
    slow = {work: 7 * cost_s for work, cost_s in costs.items()}
    amounts = {Work.ROWS: 100, Work.LOOK: 5}
    for one, other in zip(worked(slow, amounts), worked(costs, amounts), strict=True):
        assert one == pytest.approx(other)


def test_the_bar_never_goes_back_and_ends_full():
    told = [share for share, _ in worked({Work.ROWS: 0.001, Work.LOOK: 5.0}, {Work.ROWS: 100, Work.LOOK: 10})]
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1.0)


def test_work_found_to_be_less_brings_the_end_nearer():
    clock = Clock()
    effort = Effort(lambda _: True, clock)
    effort.expect(Work.LOOK, 10)
    clock.s = 1.0
    effort.done(Work.LOOK, 1)
    assert effort.share == pytest.approx(0.1)
    effort.expect_more(Work.LOOK, 1)
    assert effort.share == pytest.approx(0.5)


def test_who_gives_up_is_heard():
    with pytest.raises(CancelledError):
        Effort(lambda _: False, Clock()).done(Work.ROWS, 1.0)
