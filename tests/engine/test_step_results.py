"""Which steps are looked at closely: enough for the findings, and no more however many marks there are."""

from __future__ import annotations

from collections import Counter
from functools import lru_cache

from telltick.engine.close_looks import CloseLook
from telltick.engine.gathering import Gathered
from telltick.engine.spans import Span
from telltick.engine.step_results import (
    ALIKE_OF_MANY,
    MOST_ALIKE,
    MOST_CLOSE,
    MOST_HEARD,
    StepResults,
    clearest,
)
from telltick.engine.step_tally import StepTally
from telltick.measure.rows import PollRows, measure_rows
from telltick.model.marks import Step
from telltick.model.readings import Estimate, Latency, Reading, Verdict
from tests.scenes import make_scene

STEP_S = 30.0
LATENCY = Latency(Estimate(0.0, 0.0, 0.0), None, None, 20.0)


class CountingLooker:
    """Notes which stretches are looked at, and how."""

    def __init__(self) -> None:
        self.closely: list[float] = []
        self.listened: list[float] = []

    def look(
        self,
        run: Span,
        span: Span,
        latency: Latency | None,
        reading: Reading,
        *,
        listen_s: float,
        closely: bool,
    ) -> CloseLook:
        self.listened.append(span.start_s)
        if not closely or reading.verdict is not Verdict.TIED:
            return CloseLook()
        self.closely.append(span.start_s)
        return CloseLook(part=span, latency=latency)


@lru_cache(maxsize=2)
def rows_at(excess_db: float) -> PollRows:
    scene = make_scene(1, excess_db=excess_db, seconds=STEP_S, rate_hz=8000)
    return measure_rows(scene.samples, 0, 8000, scene.gate.shifted(scene.latency_s))


def session_of(setups: list[str], loudest: int | None = None) -> Gathered:
    """Steps of half a minute with polls that are heard; one may be louder than the others."""
    tallies, spans, steps = [], [], []
    for index, setup in enumerate(setups):
        tally = StepTally(0.0)
        tally.add(rows_at(12.0 if index == loudest else 6.0))
        tallies.append(tally)
        spans.append(Span(index * STEP_S, (index + 1) * STEP_S))
        steps.append(Step(index, 0, 1, {"ferrite": setup}))
    run = Span(0.0, len(setups) * STEP_S)
    return Gathered(tuple(steps), tuple(spans), tuple(tallies), (run,), (LATENCY,), run.end_s)


def looked_at(gathered: Gathered) -> tuple[StepResults, CountingLooker, int | None]:
    looker = CountingLooker()
    results = StepResults(looker)  # type: ignore[arg-type]
    found = [results.of(gathered, index) for index in range(len(gathered.steps))]
    return results, looker, clearest(found)


def times_by_setup(setups: list[str], starts_s: list[float]) -> dict[str, int]:
    return Counter(setups[int(start_s // STEP_S)] for start_s in starts_s)


def test_every_step_is_listened_to_where_there_are_few_and_most_are_looked_at_closely():
    setups = ["on", "off"] * (MOST_CLOSE // 2)
    _, looker, _ = looked_at(session_of(setups))
    assert times_by_setup(setups, looker.closely) == {"on": MOST_ALIKE, "off": MOST_ALIKE}
    assert looker.listened == [number * STEP_S for number in range(MOST_CLOSE)]


def test_where_there_are_many_a_step_of_each_setup_is_looked_at_however_often_others_come_back():
    setups = ["on", "off"] * 30 + ["clamped"]
    gathered = session_of(setups)
    results, looker, _ = looked_at(gathered)
    expected = {"on": ALIKE_OF_MANY, "off": ALIKE_OF_MANY, "clamped": 1}
    assert times_by_setup(setups, looker.closely) == times_by_setup(setups, looker.listened) == expected
    passed_over = [results.of(gathered, index).passed_over for index in range(len(setups))]
    assert passed_over == [2 * ALIKE_OF_MANY <= index < 60 for index in range(len(setups))]


def test_the_work_does_not_grow_with_the_number_of_setups():
    _, looker, _ = looked_at(session_of([f"core {number}" for number in range(MOST_HEARD + 8)]))
    assert looker.closely == [number * STEP_S for number in range(MOST_CLOSE)]
    assert looker.listened == [number * STEP_S for number in range(MOST_HEARD)]


def test_the_step_that_stands_for_the_whole_is_looked_at_closely_wherever_it_lies():
    gathered = session_of(["on"] * (MOST_ALIKE + 2), loudest=MOST_ALIKE + 1)
    results, looker, best = looked_at(gathered)
    assert best == MOST_ALIKE + 1
    assert best * STEP_S not in looker.closely
    assert results.close_look(gathered, best).part == gathered.spans[best]
    assert results.close_look(gathered, best) is results.close_look(gathered, best)
    assert looker.closely == [number * STEP_S for number in (*range(MOST_ALIKE), best)]
