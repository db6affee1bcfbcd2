"""Sessions side by side, on every core, without measuring twice."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

import telltick.engine.many as many
from telltick.cli import main
from telltick.engine.compare import compare_paths, sessions_in
from telltick.engine.comparing import cache_of, compare
from telltick.engine.digest_cache import DigestCache
from telltick.engine.exporting import export_bag
from telltick.model.answers import ChangeVerdict
from telltick.model.errors import BadInputError, CancelledError
from telltick.model.readings import Verdict
from telltick.sources.bench.script import Change
from tests.engine.sessions import Hands, rendered, write_rendered

SWAP = Change(9.0, "antenna", "dummy load")
HANDS = [Hands(8.0, 10.0, "antenna", "dummy load")]
REPAIRED = Change(0.0, "choke", "fitted")


def quietly(_share: float) -> bool:
    return True


@pytest.fixture(scope="module")
def shelf(tmp_path_factory) -> Path:
    """Before, again, and after a repair; and a folder that is broken."""
    root = tmp_path_factory.mktemp("shelf")
    write_rendered(root / "a-before", rendered(11, 18.0, (SWAP,)), HANDS)
    write_rendered(root / "b-again", rendered(12, 18.0, (SWAP,)), HANDS)
    write_rendered(root / "c-after", rendered(13, 18.0, (REPAIRED, SWAP)), HANDS)
    (root / "d-broken").mkdir()
    (root / "d-broken" / "journal.sqlite").write_text("no database")
    (root / "notes.txt").write_text("not a session")
    return root


@pytest.fixture(scope="module")
def kept(shelf, tmp_path_factory) -> Path:
    """Results of all of them, measured once."""
    cache = tmp_path_factory.mktemp("kept") / "measured.jsonl"
    compare_paths([shelf], cache, workers=1)
    return cache


@pytest.fixture
def nobody_measures(monkeypatch):
    def refuse(*_args):
        raise AssertionError("it was measured already")

    monkeypatch.setattr(many, "digest_session", refuse)


def test_the_same_bench_again_shows_no_change_and_a_repair_does(shelf, kept):
    names = ["a-before", "b-again", "c-after"]
    compared = compare_paths([shelf / name for name in names], kept, workers=1)
    again, after = compared.pairs
    assert [one.setup for one in again.setups] == [{"antenna": "beam"}, {"antenna": "dummy load"}]
    assert {one.change.verdict for one in again.setups} == {ChangeVerdict.SAME}
    assert {one.change.verdict for one in after.setups} == {ChangeVerdict.CHANGED}
    for one in after.setups:  # the bench's choke takes 8 dB away (its own parameter, sources/bench/paths.py)
        assert one.change.interference_db.low < -7.9 < one.change.interference_db.high + 0.3
    assert compared.comparisons == 4


def test_setups_of_one_session_alone_are_told_by_what_was_other_than_usual_in_it(shelf, kept, tmp_path):
    swaps = (("choke", "fitted"), ("choke", "none"), ("cable", "B"))
    hands = [Hands(8.0 * k, 8.0 * k + 1, *swap) for k, swap in enumerate(swaps, start=1)]
    longer = write_rendered(tmp_path / "longer", rendered(14, 32.0), hands)
    cache = tmp_path / "measured.jsonl"
    cache.write_bytes(kept.read_bytes())
    (pair,) = compare_paths([shelf / "a-before", longer], cache, workers=1).pairs
    assert pair.only_before == ({"antenna": "dummy load"},)
    assert pair.only_after == ({"choke": "fitted"}, {"cable": "B"})


def test_a_folder_becomes_one_table_and_a_broken_session_a_line_with_its_reason(shelf, kept):
    compared = compare_paths([shelf], kept, workers=1)
    assert [one.name for one in compared.sessions] == ["a-before", "b-again", "c-after", "d-broken"]
    assert [one.whole.verdict for one in compared.sessions[:3]] == [Verdict.TIED] * 3
    assert "file is not a database" in compared.sessions[3].problem
    assert compared.pairs == ()


@pytest.mark.usefixtures("nobody_measures")
def test_what_was_measured_once_is_not_measured_again(shelf, kept):
    compared = compare_paths([shelf], kept, workers=1)
    assert not any(one.problem for one in compared.sessions[:3])


def test_a_session_that_has_changed_is_measured_anew(shelf, kept, tmp_path):
    grown = write_rendered(tmp_path / "grown", rendered(11, 18.0, (SWAP,)), HANDS)
    (audio,) = (grown / "audio").iterdir()
    with audio.open("r+b") as file:
        file.seek(50_000)
        file.write(b"\x01\x02")
    measured: list[float] = []
    cache = tmp_path / "measured.jsonl"
    cache.write_bytes(kept.read_bytes())
    compare_paths([shelf / "a-before", grown], cache, lambda share: measured.append(share) is None, workers=1)
    assert len({one for one in measured if one > 0.1}) > 1


def test_a_cache_cut_by_a_kill_loses_only_its_last_line(kept, tmp_path):
    cut = tmp_path / "cut.jsonl"
    cut.write_bytes(kept.read_bytes()[:-200] + b"\n{nonsense\n\xff\xff\n")
    keys = [json.loads(line)["key"] for line in kept.read_text().splitlines() if line]
    with DigestCache(cut) as cache:
        assert [cache.get(key) is not None for key in keys] == [True, True, False]
        with DigestCache(kept) as whole:
            cache.add(whole.get(keys[2]))
    with DigestCache(cut) as cache:
        assert all(cache.get(key) == DigestCache(kept).get(key) for key in keys)


def test_the_cache_holds_numbers_to_the_last_digit(shelf, kept):
    fresh = compare_paths([shelf / "a-before", shelf / "c-after"], None, workers=1)
    again = compare_paths([shelf / "a-before", shelf / "c-after"], kept, workers=1)
    assert fresh == again


def test_a_bag_compares_as_the_session_in_it(shelf, kept, tmp_path):
    bag = export_bag(shelf / "a-before", tmp_path / "bag")
    compared = compare_paths([shelf / "a-before", bag], kept, workers=1)
    (pair,) = compared.pairs
    assert {one.change.excess_db.value for one in pair.setups} == {0.0}


def test_several_processes_find_the_same(shelf, kept, tmp_path):
    cache = tmp_path / "other.jsonl"
    assert compare_paths([shelf], cache, workers=2) == compare_paths([shelf], kept, workers=1)


def test_giving_up_keeps_what_was_finished(shelf, tmp_path):
    cache = tmp_path / "measured.jsonl"
    with pytest.raises(CancelledError):
        compare_paths([shelf], cache, lambda share: share < 0.6, workers=1)
    assert len(cache.read_text().split("\n\n")) >= 1
    assert 1 <= sum(1 for line in cache.read_text().splitlines() if line) < 3


def die(_job):
    os._exit(9)


def test_a_process_that_dies_takes_only_its_own_session_along(shelf, tmp_path, monkeypatch):
    monkeypatch.setattr(many, "_in_worker", die)
    compared = compare_paths([shelf / "a-before", shelf / "b-again"][:2], tmp_path / "c", workers=1)
    assert not compared.sessions[0].problem  # with one worker, none is started
    jobs = {0: (shelf / "a-before", "key", many.MeasuringOptions())}
    assert dict(many._pooled(jobs, 1, quietly)) == {}


def test_one_session_is_nothing_to_compare(shelf, tmp_path):
    with pytest.raises(BadInputError, match="is one session; give two or more"):
        compare_paths([shelf / "a-before"])
    with pytest.raises(BadInputError, match="holds no sessions"):
        sessions_in(tmp_path)


def test_a_session_that_is_not_there_is_refused_before_anything_is_measured(shelf, tmp_path, capsys):
    assert main(["compare", str(shelf / "a-before"), str(tmp_path / "typo")]) == 2
    assert capsys.readouterr().err.count("typo does not exist") == 1


def test_a_baseline_that_cannot_be_measured_is_told(shelf, kept):
    with pytest.raises(BadInputError, match="the baseline cannot be measured"):
        compare_paths([shelf / "d-broken", shelf / "a-before"], kept, workers=1)


def test_the_cache_lies_beside_the_output(tmp_path):
    assert cache_of(tmp_path / "table.html") == tmp_path / ".table.measured.jsonl"


def test_an_ending_that_says_nothing_is_refused_before_anything_is_measured(shelf, tmp_path):
    told: list[float] = []
    with pytest.raises(BadInputError, match="ending that says nothing"):
        compare([shelf], tmp_path / "table.xls", lambda share: told.append(share) is None)
    assert told == []


def test_the_command_prints_a_table_or_one_json_object(shelf, tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    two = [str(shelf / "a-before"), str(shelf / "c-after")]
    assert main(["compare", *two, "--jobs", "1"]) == 0
    text = capsys.readouterr().out
    assert "From a-before to c-after: I changed by -" in text
    assert main(["compare", *two, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["schema"] == "telltick.comparison/1"
    assert main(["compare", two[0]]) == 2
