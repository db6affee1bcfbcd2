"""Each way in does to the audio what it is there for: so that findings can be held to it."""

from __future__ import annotations

import numpy as np
import pytest

from telltick.model.clock import NS
from telltick.model.framing import Framing
from telltick.model.traffic import Direction
from telltick.model.trial import drawn_slot
from telltick.sources.bench.emissions import ComputerNoise, computer_pieces, emitted, joined
from telltick.sources.bench.offline import render_session_audio
from telltick.sources.bench.parts import make_log, make_radio
from telltick.sources.bench.paths import COUPLINGS, Source
from telltick.sources.bench.script import Change

RATE_HZ = 8_000


def excess_of(path, *changes, seconds=10.0):
    """True excess before and after a change half way."""
    done = [Change(seconds / 2, factor, value) for factor, value in changes]
    made = render_session_audio(3, seconds, changes=done, rate_hz=RATE_HZ, path=path)
    return made.truth[0], made.truth[-1]


@pytest.mark.parametrize("path", [name for name in COUPLINGS if name not in ("none", "computer")])
def test_every_way_in_is_as_loud_as_asked_for_to_begin_with(path):
    made = render_session_audio(4, 10.0, rate_hz=RATE_HZ, path=path, i_over_n_db=5.5)
    assert made.truth[0].i_over_n_db == pytest.approx(5.5, abs=0.7)


def test_a_battery_takes_away_what_comes_by_the_supply_and_nothing_else():
    before, after = excess_of("supply", ("supply", "battery"))
    assert after.interference_dbfs - before.interference_dbfs == pytest.approx(-30, abs=0.5)
    before, after = excess_of("data line", ("supply", "battery"))
    assert after.interference_dbfs == pytest.approx(before.interference_dbfs, abs=0.5)


def test_a_radio_at_work_is_heard_between_request_and_reply_only():
    radio = make_radio(1, Framing(), "command handling")
    request, reply = radio.hear(0, b"Q1;", 9600)
    at_s, _ = joined(emitted([request, reply], Framing(), Source.HANDLING))
    assert request.end_ns / NS <= at_s.min() < at_s.max() <= reply.start_ns / NS
    assert 0.014 <= (reply.start_ns - request.end_ns) / NS <= 0.022


def test_a_radio_at_work_does_not_know_the_character_rate():
    for baud in (4800, 19200):
        request, reply = make_radio(1, Framing(), "command handling").hear(0, b"Q1;", baud)
        at_s, _ = joined(emitted([request, reply], Framing(), Source.HANDLING))
        assert np.median(np.diff(at_s)) == pytest.approx(0.00007, rel=0.3)


def test_a_request_without_a_reply_makes_no_work():
    radio = make_radio(1, Framing(), "command handling")
    radio.plugged = False
    assert emitted(radio.hear(0, b"Q1;", 9600), Framing(), Source.HANDLING) == []


def test_the_computer_is_heard_whether_it_polls_or_not_and_only_through_its_cable():
    before, after = excess_of("computer", ("polling", "off"))
    assert before.interference_dbfs == after.interference_dbfs == -np.inf
    assert after.noise_dbfs == pytest.approx(before.noise_dbfs, abs=0.5)
    assert after.noise_dbfs > -39.8
    assert excess_of("computer", ("cable", "unplugged"))[1].noise_dbfs == pytest.approx(-40, abs=0.01)


def test_the_computers_noise_is_the_same_whether_taken_at_once_or_in_small_parts():
    whole = joined(computer_pieces(7, 0, 3))
    log = ComputerNoise(7)
    parts = [log.take_until(0.02 * k) for k in range(1, 140)]
    at_s = np.concatenate([at for at, _ in parts])
    assert np.array_equal(at_s, whole[0][whole[0] < 0.02 * 139])


def test_the_live_bench_hears_what_the_way_in_lets_it_hear():
    kinds = {path: type(make_log(1, Framing(), path)).__name__ for path in COUPLINGS}
    assert kinds["computer"] == "ComputerNoise"
    assert set(kinds.values()) == {"ComputerNoise", "LineLog"}


def test_one_seed_makes_one_session_whatever_the_way_in():
    for path in ("computer", "command handling"):
        one, other = (render_session_audio(9, 3.0, rate_hz=RATE_HZ, path=path).audio for _ in range(2))
        assert np.array_equal(one, other)


def test_a_coin_trial_of_the_script_puts_polls_where_the_published_draw_says():
    tossed = [Change(4.0, "coin trial", "on"), Change(10.0, "coin trial", "off")]
    made = render_session_audio(5, 14.0, changes=tossed, rate_hz=RATE_HZ)
    assert 25 <= len(made.drawn) <= 31
    sent = {poll.number: poll.due_ns for poll in made.polls}
    for one in made.drawn:
        assert one.slot == drawn_slot(5, one.leg, one.cycle, one.slots)
        assert sent[one.poll] == one.cycle_ns + one.slot * one.slot_ns
    longest = max(b.end_ns - sent[b.poll] for b in made.bursts if b.direction is Direction.RX)
    assert longest < made.drawn[0].slot_ns
    assert sum(poll.due_ns >= 10 * NS for poll in made.polls) >= 18
