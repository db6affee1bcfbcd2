from telltick.measure.looks import Observation
from telltick.measure.next_test import next_tests
from telltick.measure.pathways import weighed_paths
from telltick.measure.rules import PATHS, Look, Seen
from telltick.model.cautions import DUMMY_LOAD, LIGHTNING, SUPPLY
from tests.measure.test_changes import setup, side

TIED = Observation(Look.TIE, frozenset({Seen.YES}), "tied", (0,))
HEARD = setup(0, {"antenna": "beam", "cable": "a", "baud": "4800"}, side(6, 3))


def proposed(*observed, bench=(HEARD,)):
    return next_tests(weighed_paths(observed), bench)


def looked(look, *what, more_polls=None):
    return Observation(look, frozenset(what), str(look), (0, 1), more_polls)


def test_as_long_as_no_tie_is_shown_a_coin_trial_comes_first():
    assert proposed()[0].factor == "coin trial"
    assert proposed(TIED)[0].factor != "coin trial"


def test_a_session_that_is_over_is_told_to_be_followed_by_another_with_the_trial():
    trial = next_tests(weighed_paths([]), (HEARD,), over=True)[0]
    assert (trial.factor, trial.value) == ("coin trial", "in a new session")
    assert "This session is over" in trial.because


def test_the_test_that_tells_most_ways_apart_comes_first():
    first = proposed(TIED)[0]
    assert first.factor == "rf gain"
    assert set(first.splits) == {"ahead of rf gain", "behind rf gain"}


def test_a_test_that_has_been_decided_is_not_proposed_again():
    gain = looked(Look.LESS_GAIN, Seen.WITH_NOISE)
    assert all(one.factor != "rf gain" for one in proposed(TIED, gain))


def test_a_test_that_stayed_open_is_proposed_with_the_polls_that_it_still_needs():
    open_gain = looked(Look.LESS_GAIN, more_polls=120)
    decided = [looked(look, Seen.STAYED, Seen.NOT_LESS) for look in Look if look is not Look.LESS_GAIN]
    again = next(one for one in proposed(TIED, open_gain, *decided) if one.factor == "rf gain")
    assert "about 120 more polls on each side" in again.because


def test_each_test_carries_the_caution_that_belongs_to_it():
    everything = {one.factor: one for one in all_of(TIED)}
    assert DUMMY_LOAD in everything["antenna"].caution
    assert LIGHTNING in everything["antenna"].caution
    assert SUPPLY in everything["supply"].caution
    assert everything["baud"].caution == ""


def all_of(*observed):
    """Every proposal: what has been proposed is decided, until nothing is left."""
    out, known = [], list(observed)
    for _ in range(40):
        fresh = [one for one in proposed(*known) if one.factor not in {o.factor for o in out}]
        if not fresh:
            return out
        out += fresh
        names = {name for one in fresh for name in one.splits}
        looks = {line.look for path in PATHS if path.name in names for line in path.lines}
        known += [looked(look, *Seen) for look in looks]
    return out


def test_a_bench_that_stands_as_proposed_is_asked_to_go_back():
    on_load = setup(2, {"antenna": "dummy load", "cable": "a"}, side(6, 3))
    antenna = next(one for one in all_of_bench(on_load) if one.factor == "antenna")
    assert antenna.value == "beam"


def all_of_bench(present):
    others = [look for look in Look if look not in (Look.DUMMY_LOAD, Look.TIE)]
    decided = [looked(look, *(set(Seen) - {Seen.NO, Seen.YES})) for look in others]
    return proposed(TIED, *decided, bench=(HEARD, present))


def test_where_nothing_is_heard_now_it_says_where_to_go_first():
    silent = setup(3, {"antenna": "beam", "cable": "b"}, side(0.0, 0.0))
    first = proposed(TIED, bench=(HEARD, silent))[0]
    assert "first go back to the bench of step 1, where it is heard" in first.because
