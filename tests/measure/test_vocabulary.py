import pytest

from telltick.measure.vocabulary import Kind, alike, bench_of, kind_of, order_of


@pytest.mark.parametrize(
    ("factor", "value", "kind"),
    [
        ("antenna", "Dummy Load", Kind.DUMMY),
        ("antenna", "50 ohm on the socket", Kind.DUMMY),
        ("antenna", "disconnected", Kind.NONE),
        ("antenna", "loaded dipole", Kind.OTHER),
        ("antenna", "beam", Kind.OTHER),
        ("choke", "none", Kind.NONE),
        ("choke", "", Kind.NONE),
        ("choke", "six turns on a ferrite", Kind.FITTED),
        ("cable", "unplugged", Kind.NONE),
        ("cable", "B", Kind.OTHER),
        ("rf gain", "Minimum", Kind.LEAST),
        ("rf gain", "0", Kind.LEAST),
        ("rf gain", "full", Kind.MOST),
        ("monitor level", "off", Kind.LEAST),
        ("supply", "12 V battery", Kind.BATTERY),
        ("supply", "mains", Kind.MAINS),
        ("computer", "on battery", Kind.BATTERY),
        ("computer", "switched off", Kind.OFF),
        ("polling", "off", Kind.OFF),
        ("weather", "off", Kind.OTHER),
    ],
)
def test_the_usual_words_are_understood(factor, value, kind):
    assert kind_of(factor, value) is kind


@pytest.mark.parametrize(
    ("factor", "lower", "higher"),
    [
        ("monitor level", "2", "5"),
        ("monitor level", "2.5", "10 of 10"),
        ("monitor level", "lower", "normal"),
        ("rf gain", "minimum", "full"),
        ("rf gain", "-20 dB", "0 dB"),
        ("rf gain", "half", "full"),
    ],
)
def test_levels_have_an_order_whether_words_or_numbers(factor, lower, higher):
    assert order_of(factor, lower, higher) == -1
    assert order_of(factor, higher, lower) == 1


def test_words_that_mean_nothing_have_no_order():
    assert order_of("rf gain", "blue", "green") == 0


def test_spelling_makes_no_other_bench_and_a_coin_trial_neither():
    one = bench_of({"Antenna": " Dummy  load.", "monitor level": "5.0", "coin trial": "on"})
    assert one == bench_of({"antenna": "dummy load", "monitor level": "5"})


@pytest.mark.parametrize(
    ("factor", "one", "other"),
    [
        ("antenna", "dummy load", "50 ohm termination"), ("rf gain", "minimum", "0"),
        ("choke", "none", "removed"), ("baud", "9600", "9600.0"), ("cable", " A", "a"),
    ],
)  # fmt: skip
def test_the_same_thing_in_other_words_is_alike(factor, one, other):
    assert alike(factor, one, other)
    assert alike(factor, other, one)


@pytest.mark.parametrize(
    ("factor", "one", "other"),
    [
        ("antenna", "beam", "dipole"),
        ("monitor level", "lower", "half"),
        ("choke", "", ""),
        ("baud", "4800", "9600"),
        ("supply", "linear", "switching"),
        ("choke", "one turn", "five turns"),
    ],
)
def test_different_things_are_not_alike_nor_are_two_blanks(factor, one, other):
    assert not alike(factor, one, other)
