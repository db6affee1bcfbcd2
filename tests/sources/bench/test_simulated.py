"""The bench in real time: real bytes over a real pseudo-terminal, audio at its own pace."""

from __future__ import annotations

import itertools
import queue
from dataclasses import replace

import numpy as np
import pytest

from telltick.model.clock import NS
from telltick.model.errors import DeviceError
from telltick.model.framing import Framing
from telltick.model.traffic import Burst, Direction, PollOutcome
from telltick.sources.bench import SimulatedBench
from telltick.sources.bench.line_log import LineLog, burst_edges
from telltick.sources.bench.live_audio import LiveAudio
from telltick.sources.bench.receiver import Receiver
from telltick.sources.bench.state import BenchState
from tests.sources.far_end import PATIENCE_S, Heard, poller_for


@pytest.fixture(params=[True, False], ids=["pseudo-terminal", "memory"])
def bench(request):
    made = SimulatedBench(1, pseudo_terminal=request.param, i_over_n_db=30)
    made.start()
    yield made
    made.stop()


def polled(bench: SimulatedBench, heard: Heard):
    return poller_for(replace(bench.plan, interval_s=0.1), heard, bench.open_port)


@pytest.mark.bench_part
def test_the_radio_answers_the_poller_and_follows_its_rate(bench):
    heard = Heard()
    poller = polled(bench, heard)
    poller.start()
    assert [heard.poll().outcome for _ in range(3)] == [PollOutcome.REPLY] * 3
    reply = heard.burst(Direction.RX)
    assert reply.data.startswith(b"Q1 ")
    poller.set_baud(38_400)
    replies = (heard.burst(Direction.RX) for _ in itertools.count())
    fast = next(one for one in replies if one.end_ns - one.start_ns < (reply.end_ns - reply.start_ns) / 2)
    assert fast.data.startswith(b"Q1 ")
    poller.stop()


@pytest.mark.bench_part
def test_what_the_poller_sends_is_heard_a_latency_later(bench):
    heard, blocks = Heard(), queue.SimpleQueue()
    poller = polled(bench, heard)
    bench.audio.start(blocks.put)
    poller.start()
    taken = [blocks.get(timeout=PATIENCE_S) for _ in range(100)]
    poller.stop()
    bench.audio.stop()
    zero_ns = min(b.arrival_ns - (k + 1) * 20_000_000 for k, b in enumerate(taken))
    power = np.concatenate([block.samples for block in taken]).astype(float) ** 2
    cells = power.reshape(-1, 48).sum(axis=1)  # 1 ms
    gate = np.zeros(len(cells))
    for burst in heard.bursts.queue:
        low, high = (round((t - zero_ns) / 1e6) for t in (burst.start_ns, burst.end_ns))
        gate[max(low, 0) : max(high, 0)] = 1
    lags = range(150)
    score = [np.sum(cells[lag:] * gate[: len(gate) - lag]) for lag in lags]
    assert int(np.argmax(score)) == pytest.approx(63, abs=10)  # wide, for machines that are busy


def test_a_bench_that_was_stopped_lets_nobody_in():
    bench = SimulatedBench(1)
    bench.start()
    bench.stop()
    bench.stop()
    with pytest.raises(DeviceError):
        bench.open_port(bench.plan)


def test_a_changed_factor_is_heard():
    bench = SimulatedBench(1)
    blocks = queue.SimpleQueue()
    bench.audio.start(blocks.put)
    loud = blocks.get(timeout=PATIENCE_S).samples
    bench.apply("rf gain", "minimum")
    quiet = [blocks.get(timeout=PATIENCE_S).samples for _ in range(10)][-1]
    bench.stop()
    assert np.abs(np.diff(quiet.astype(float))).mean() < 0.3 * np.abs(np.diff(loud.astype(float))).mean()


def test_audio_that_falls_behind_catches_up_and_keeps_its_pace():
    now_ns = [0]
    audio = LiveAudio(
        Receiver(0, 8000, None), LineLog(Framing()), BenchState, latency_s=0.063, clock_ns=lambda: now_ns[0]
    )
    blocks = queue.SimpleQueue()
    audio.start(blocks.put)
    now_ns[0] = 2 * NS  # the machine stood still for two seconds
    came = [blocks.get(timeout=PATIENCE_S) for _ in range(100)]
    assert {len(block.samples) for block in came} == {160}
    assert audio.problem() is None
    audio.stop()
    assert audio.problem() is not None


def test_edges_are_handed_out_once_in_order_and_only_up_to_the_time_asked_for():
    log = LineLog(Framing())
    late = Burst(50_000_000, 52_083_333, Direction.RX, b"ab")
    early = Burst(0, 2_083_333, Direction.TX, b"xy")
    log.add([late, early])
    every = np.concatenate([burst_edges(burst, Framing())[0] for burst in (early, late)])
    first, _ = log.take_until(0.0011)
    rest, steps = log.take_until(1.0)
    assert first.max() < 0.0011 <= rest.min()
    assert np.concatenate([first, rest]) == pytest.approx(every)
    assert len(rest) == len(steps)
    assert len(log.take_until(2.0)[0]) == 0
