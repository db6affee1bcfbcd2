from __future__ import annotations

import pytest

from telltick.model.errors import BadInputError
from telltick.store.rounds import SHIPPED_ORDER, load_round, load_rounds, round_files

GOOD = 'title = "x"\nabout = "y"\nminutes = 1\n[[tasks]]\ndo = "measure"\nsay = "wait"\n'


def test_three_rounds_ship_and_every_one_ends_as_it_began():
    rounds, faults = load_rounds(own=None)
    assert not faults
    assert set(SHIPPED_ORDER) <= set(rounds)
    for round_ in rounds.values():
        changed = {task.factor for task in round_.tasks if task.do == "change"}
        returned = {task.factor for task in round_.tasks if task.do == "return"}
        assert changed == returned, round_.title
        switches = [task.value for task in round_.tasks if task.do == "polling"]
        assert switches in ([], ["off", "on"]), round_.title


def test_a_round_of_the_operator_goes_before_a_shipped_one_of_the_same_name(tmp_path):
    (tmp_path / "full-round.toml").write_text(GOOD, encoding="utf-8")
    (tmp_path / "club-night.toml").write_text(GOOD, encoding="utf-8")
    assert round_files(tmp_path)["full-round"].parent == tmp_path
    rounds, _ = load_rounds(tmp_path)
    assert rounds["club-night"].title == rounds["full-round"].title == "x"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (GOOD + "colour = 3\n", "tasks[0].colour"),
        (GOOD.replace('"measure"', '"transmit"'), "must be one of"),
        (
            GOOD + '[[tasks]]\ndo = "change"\nsay = "swap"\n',
            "factor: a task that does a change names a factor",
        ),
        (GOOD + "within_db = 0\n", "within_db: must be 0.05 to 10"),
        (GOOD + '[[tasks]]\ndo = "polling"\nsay = "stop"\nvalue = "maybe"\n', "polling is on or off"),
        ('title = "x"\nabout = "y"\nminutes = 1\ntasks = []\n', "at least one [[tasks]]"),
        ('title = "x"\n', "missing"),
        ("title = \n", "line 1"),
    ],
)
def test_a_bad_round_is_explained_in_one_line_and_the_others_still_load(tmp_path, text, said):
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInputError) as why:
        load_round(path)
    assert said in str(why.value)
    assert str(path) in str(why.value)
    assert "\n" not in str(why.value)
    rounds, faults = load_rounds(tmp_path)
    assert "full-round" in rounds
    assert "mine" not in rounds
    assert len(faults) == 1
