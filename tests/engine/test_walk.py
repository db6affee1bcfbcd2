"""A round is walked through on scripted pictures of a session: no clock, no recorder."""

from __future__ import annotations

from dataclasses import replace

import pytest

from telltick.engine.walk import Walker
from telltick.model.marks import Mark, MarkKind
from telltick.model.readings import Estimate, Reading, TrialReading, Verdict
from telltick.model.rounds import Round, Task, WalkPhase
from telltick.model.session import Verb
from telltick.model.snapshot import Phase, PollingState, Snapshot

S = 1_000_000_000


class Bench:
    """A session whose excess is known to within `sharp / sqrt(seconds)` dB."""

    def __init__(self, *, sharp: float = 1.0, available: bool = True) -> None:
        self.sharp = sharp
        self.now_s = 100.0
        self.step_from_s = 100.0
        self.setup = {"antenna": "beam", "polling": "on"}
        self.polling = PollingState(available=available, on=True)
        self.marks: list[Mark] = []
        self.trial: TrialReading | None = None
        self.asked: list[Verb] = []
        self.verdict = Verdict.TIED

    def ask(self, verb: Verb, value: str = "") -> None:
        self.asked.append(verb)

    def wait(self, seconds: float) -> None:
        self.now_s += seconds

    def begin(self, factor: str) -> None:
        self.marks.append(Mark(len(self.marks) + 1, int(self.now_s * S), None, MarkKind.CHANGE, factor))

    def settle(self, value: str) -> None:
        mark = self.marks[-1]
        self.marks[-1] = replace(mark, settled_ns=int(self.now_s * S), value=value)
        self.setup[mark.factor] = value
        self.step_from_s = self.now_s

    def snapshot(self) -> Snapshot:
        seconds = self.now_s - self.step_from_s
        half = self.sharp / max(seconds, 0.01) ** 0.5
        reading = Reading(
            int(5 * seconds),
            seconds,
            -50.0,
            -45.0,
            Estimate(6.0, 6.0 - half, 6.0 + half),
            verdict=self.verdict,
        )
        open_mark = next((mark for mark in self.marks if mark.hands_on), None)
        if open_mark is not None or seconds == 0:
            reading = Reading(0, 0.0, warnings=("Hands on.",))
        return Snapshot(
            Phase.RECORDING,
            now_ns=int(self.now_s * S),
            step=reading,
            step_seconds=seconds,
            step_start_ns=int(self.step_from_s * S) if open_mark is None else None,
            polling=self.polling,
            setup=dict(self.setup),
            marks=tuple(self.marks),
            open_mark=open_mark,
            trial=self.trial,
        )


def walker(bench: Bench, *tasks: Task, found=None) -> Walker:
    return Walker(Round(title="round", about="", minutes=1, tasks=tasks), bench.ask, found)


MEASURE = Task(do="measure", say="wait", within_db=0.5, shortest_s=2, longest_s=60)
SWAP = Task(do="change", say="swap", factor="antenna", value="dummy load", within_db=0.5, shortest_s=2)
RETURN = Task(do="return", say="put back", factor="antenna", within_db=0.5, shortest_s=2)


def test_a_whole_round_ends_with_a_result_for_every_task():
    bench = Bench()
    walk = walker(bench, MEASURE, SWAP, RETURN)
    assert walk.look(bench.snapshot()).phase is WalkPhase.MEASURING
    bench.wait(5)
    state = walk.look(bench.snapshot())
    assert (state.number, state.phase, state.value) == (2, WalkPhase.YOURS, "dummy load")
    assert "dummy load" in state.caution  # never transmit into it
    bench.wait(3)
    bench.begin("antenna")
    assert walk.look(bench.snapshot()).phase is WalkPhase.HANDS_ON
    bench.wait(4)
    bench.settle("dummy load")
    assert walk.look(bench.snapshot()).phase is WalkPhase.MEASURING
    bench.wait(5)
    state = walk.look(bench.snapshot())
    assert (state.number, state.phase, state.value) == (3, WalkPhase.YOURS, "beam")
    bench.begin("antenna")
    bench.settle("beam")
    bench.wait(5)
    state = walk.look(bench.snapshot())
    assert state.phase is WalkPhase.DONE
    assert state.task is None
    assert [result.skipped for result in state.results] == [False, False, False]
    assert all("excess +6.0" in result.words for result in state.results)


def test_measuring_goes_on_while_a_sure_excess_is_not_shown_to_be_tied_yet():
    bench = Bench()
    bench.verdict = Verdict.NO_TIE
    walk = walker(bench, MEASURE)
    walk.look(bench.snapshot())
    bench.wait(10)
    state = walk.look(bench.snapshot())
    assert state.phase is WalkPhase.MEASURING
    assert "the tie not shown yet" in state.progress
    bench.verdict = Verdict.TIED
    bench.wait(1)
    assert walk.look(bench.snapshot()).phase is WalkPhase.DONE


def test_a_change_by_the_poller_is_not_read_off_the_step_before_it():
    bench = Bench()
    bench.setup["baud"] = "9600"
    there, back = (
        Task(do="change", say="", factor="baud", value="19200"),
        Task(do="return", say="", factor="baud"),
    )
    walk = walker(bench, there, back)
    walk.look(bench.snapshot())
    bench.wait(10)
    bench.marks.append(Mark(1, int(110 * S), int(110 * S), MarkKind.CHANGE, "baud", "19200"))
    state = walk.look(bench.snapshot())  # its audio comes later than its journal row
    assert (state.number, state.phase) == (1, WalkPhase.WAITING)
    bench.setup["baud"], bench.step_from_s = "19200", 110.0
    bench.wait(0.2)
    state = walk.look(bench.snapshot())
    assert (state.number, state.phase) == (1, WalkPhase.MEASURING)
    bench.wait(20)
    state = walk.look(bench.snapshot())
    assert (state.number, state.phase, state.value) == (2, WalkPhase.YOURS, "9600")
    assert "after 20 s" in state.results[0].words


def test_measuring_says_how_long_it_will_take_and_stops_when_the_interval_is_narrow():
    bench = Bench(sharp=2.0)  # 0.5 dB after 16 s
    walk = walker(bench, MEASURE)
    bench.wait(4)
    state = walk.look(bench.snapshot())
    assert state.seconds_left == pytest.approx(12, abs=0.1)
    assert state.share == pytest.approx(0.25, abs=0.01)
    bench.wait(11.5)
    assert walk.look(bench.snapshot()).phase is WalkPhase.MEASURING
    bench.wait(1)
    assert walk.look(bench.snapshot()).phase is WalkPhase.DONE


def test_an_interval_that_will_not_get_narrow_is_said_and_left_at_that():
    bench = Bench(sharp=20.0)  # 0.5 dB would take 1600 s
    walk = walker(bench, MEASURE)
    bench.wait(10)
    assert "will not get within 0.5 dB in 60 s" in walk.look(bench.snapshot()).progress
    bench.wait(51)
    (result,) = walk.look(bench.snapshot()).results
    assert "would take 27 min" in result.words


def test_polling_is_switched_by_the_recorder_and_the_floor_is_measured_without_it():
    off = Task(do="polling", say="off", value="off", shortest_s=5, longest_s=10)
    bench = Bench()
    walk = walker(bench, off)
    assert walk.look(bench.snapshot()).phase is WalkPhase.WAITING
    assert bench.asked == [Verb.STOP_POLLING]
    bench.wait(20)
    assert "has not answered" in walk.look(bench.snapshot()).progress
    bench.polling = PollingState(available=True, on=False)
    bench.step_from_s = bench.now_s
    assert walk.look(bench.snapshot()).phase is WalkPhase.MEASURING
    bench.wait(6)
    assert "without polling: N -50.0 dBFS" in walk.look(bench.snapshot()).results[0].words


def test_polling_by_another_program_is_the_operators_turn():
    off = Task(do="polling", say="off", value="off", shortest_s=5, longest_s=10)
    bench = Bench(available=False)
    state = walker(bench, off).look(bench.snapshot())
    assert state.phase is WalkPhase.YOURS
    assert not bench.asked


def trial(log10_e: float, *, running: bool = True) -> TrialReading:
    return TrialReading(running, 40, 0, 8, 0.02, 1, log10_e=log10_e, highest_log10_e=log10_e)


def test_a_trial_runs_until_the_odds_are_reached_and_is_stopped_then():
    bench = Bench()
    walk = walker(bench, Task(do="trial", say="trial", odds=1000))
    assert walk.look(bench.snapshot()).phase is WalkPhase.WAITING
    bench.trial = trial(1.5)
    bench.wait(5)
    walk.look(bench.snapshot())
    bench.wait(5)
    state = walk.look(bench.snapshot())
    assert (state.phase, state.share) == (WalkPhase.MEASURING, 0.5)
    bench.trial = trial(3.2)
    state = walk.look(bench.snapshot())
    assert state.phase is WalkPhase.DONE
    assert bench.asked == [Verb.START_TRIAL, Verb.STOP_TRIAL]
    assert "1600 to 1" in state.results[0].words


def test_a_trial_that_shows_nothing_ends_and_says_so():
    bench = Bench()
    walk = walker(bench, Task(do="trial", say="trial", longest_s=60))
    walk.look(bench.snapshot())
    bench.trial = trial(0.1)
    walk.look(bench.snapshot())
    bench.wait(61)
    assert "no tie shown" in walk.look(bench.snapshot()).results[0].words
    assert bench.asked[-1] is Verb.STOP_TRIAL


def test_tasks_that_are_needless_are_left_out_with_the_reason():
    bench = Bench()
    bench.trial = trial(4.0, running=False)
    state = walker(bench, RETURN, Task(do="trial", say="trial")).look(bench.snapshot())
    assert state.phase is WalkPhase.DONE
    assert [result.words for result in state.results] == [
        "stands at beam already",
        "shown by an earlier one",
    ]
    assert not bench.asked


@pytest.mark.parametrize("said", ["Dummy load", "50 ohm dummy load"])
def test_a_bench_that_is_swapped_already_goes_back_to_its_baseline_first_and_again_at_the_end(said):
    bench = Bench()
    bench.begin("antenna")
    bench.settle(said)
    bench.wait(60)
    walk = walker(bench, MEASURE, SWAP, RETURN, found={"antenna": "beam"})
    state = walk.look(bench.snapshot())
    assert (state.number, state.count, state.phase, state.value) == (1, 4, WalkPhase.YOURS, "beam")
    assert f"{said} is set already" in state.task.say
    for value, number in (("beam", 3), ("dummy load", 4)):
        bench.begin("antenna")
        bench.settle(value)
        bench.wait(20)
        state = walk.look(bench.snapshot())
        assert (state.number, state.phase) == (number, WalkPhase.YOURS)
    assert (state.task.do, state.value) == ("return", "beam")


def test_a_change_that_stands_already_is_measured_as_it_is_when_going_back_is_left_out():
    bench = Bench()
    bench.setup["antenna"] = "Dummy load"
    walk = walker(bench, SWAP)
    walk.look(bench.snapshot())
    walk.skip(bench.snapshot())
    assert walk.look(bench.snapshot()).phase is WalkPhase.MEASURING


def test_a_baseline_says_in_what_the_bench_is_not_as_the_session_began():
    bench = Bench()
    bench.setup["cable"] = "B"
    walk = walker(bench, MEASURE, SWAP, found={"antenna": "beam", "cable": "A"})
    bench.wait(5)
    (result,) = walk.look(bench.snapshot()).results
    assert result.words.endswith("(with cable B)")


def test_going_back_steps_past_tasks_that_are_needless():
    bench = Bench()
    bench.trial = trial(4.0, running=False)
    walk = walker(bench, MEASURE, Task(do="trial", say="trial"), RETURN, SWAP)
    bench.wait(5)
    assert walk.look(bench.snapshot()).number == 4
    bench.step_from_s = bench.now_s  # so that measuring takes its time again
    walk.back(bench.snapshot())
    state = walk.look(bench.snapshot())
    assert (state.number, state.phase, state.results) == (1, WalkPhase.MEASURING, ())
    walk.back(bench.snapshot())
    assert walk.look(bench.snapshot()).number == 1


def test_skipping_goes_on_and_back_takes_the_task_up_again():
    bench = Bench()
    walk = walker(bench, SWAP, MEASURE)
    walk.look(bench.snapshot())
    walk.skip(bench.snapshot())
    state = walk.look(bench.snapshot())
    assert (state.number, state.results[0].skipped) == (2, True)
    walk.back(bench.snapshot())
    state = walk.look(bench.snapshot())
    assert (state.number, state.phase, state.results) == (1, WalkPhase.YOURS, ())


def test_skipping_a_running_trial_stops_it():
    bench = Bench()
    walk = walker(bench, Task(do="trial", say="trial"))
    walk.look(bench.snapshot())
    bench.trial = trial(0.5)
    walk.skip(bench.snapshot())
    assert bench.asked == [Verb.START_TRIAL, Verb.STOP_TRIAL]


def test_the_other_request_is_proposed_only_where_the_station_file_has_one():
    bench = Bench()
    task = Task(do="change", factor="request", value="ignored by the radio", say="the other request")
    state = walker(bench, task).look(bench.snapshot())
    assert (state.phase, state.results[0].skipped) == (WalkPhase.DONE, True)
    bench.setup["request"] = "answered by the radio"
    assert walker(bench, task).look(bench.snapshot()).phase is WalkPhase.YOURS
