"""What the operator's own words do to the bench."""

from __future__ import annotations

import pytest

from telltick.sources.bench.state import DEFAULT_SETUP, BenchState


@pytest.mark.parametrize(
    ("factor", "value", "expected"),
    [
        ("antenna", "Dummy load, 50 ohm", BenchState(dummy_load=True)),
        ("antenna", "beam", BenchState()),
        ("cable", "B", BenchState(better_cable=True)),
        ("cable", "the short shielded one", BenchState(better_cable=True)),
        ("cable", "A", BenchState()),
        ("cable", "unplugged", BenchState(unplugged=True)),
        ("choke", "fitted", BenchState(choke=True)),
        ("choke", "six turns on a core", BenchState(choke=True)),
        ("choke", "no choke", BenchState()),
        ("rf gain", "Minimum", BenchState(rf_gain_db=-30.0)),
        ("rf gain", "half", BenchState(rf_gain_db=-12.0)),
        ("rf gain", "-20 dB", BenchState(rf_gain_db=-20.0)),
        ("rf gain", "50 %", BenchState(rf_gain_db=-15.0)),
        ("monitor level", "10", BenchState(monitor_level=10.0)),
        ("monitor level", "lower", BenchState(monitor_level=2.0)),
        ("monitor level", "higher", BenchState(monitor_level=8.0)),
        ("monitor level", "off", BenchState(monitor_level=0.0)),
        ("monitor level", "99", BenchState(monitor_level=10.0)),
        ("frequency", "28.400 MHz", BenchState()),
        ("supply", "battery", BenchState(battery=True)),
        ("supply", "mains", BenchState()),
        ("computer", "on battery", BenchState(computer_battery=True)),
        ("computer", "laptop", BenchState()),
        ("weather", "rain", BenchState()),
    ],
)
def test_words_act_on_the_factor_they_name(factor, value, expected):
    assert BenchState().after(factor, value) == expected


@pytest.mark.parametrize("factor", ["rf gain", "monitor level", "antenna", "choke"])
def test_words_that_mean_nothing_change_nothing(factor):
    before = BenchState(rf_gain_db=-12.0, monitor_level=3.0)
    assert before.after(factor, "???").rf_gain_db == -12.0
    assert before.after(factor, "???").monitor_level == 3.0


def test_the_setup_at_the_start_is_the_state_at_the_start():
    state = BenchState()
    for factor, value in DEFAULT_SETUP.items():
        state = state.after(factor, value)
    assert state == BenchState()
