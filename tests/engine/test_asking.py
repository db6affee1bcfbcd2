"""``telltick ask``: a recorder that runs is asked from another program and answers."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from telltick.cli import main
from telltick.engine.asking import WORDS, ask
from telltick.engine.inputs import Inputs
from telltick.engine.recorder import Recorder, record
from telltick.model.errors import BadInputError, BadSessionError, TelltickError
from telltick.options import build_parser
from telltick.store.journal import Journal
from telltick.store.lock import hold
from telltick.store.session import SessionReader
from tests.engine.test_errands import PLAN, Port
from tests.engine.test_recorder import FACTS, ShortSource


@pytest.fixture
def running(tmp_path):
    """A recorder at work in this process, in its own thread."""
    ready = threading.Event()
    inputs = Inputs(ShortSource(ends=False), PLAN, lambda _: Port(9600, 19200))
    recorder = Recorder(tmp_path, FACTS, inputs, seconds=120.0, on_ready=ready.set)
    thread = threading.Thread(target=record, args=(recorder,))
    thread.start()
    assert ready.wait(timeout=20)
    yield tmp_path
    recorder.stop.set("signal")
    thread.join(timeout=20)


def test_what_is_done_is_said_and_what_is_refused_says_why(running, capsys):
    assert ask(running, "stop-polling") == "polling: off"
    assert ask(running, "interval", "0.5") == "poll interval: 0.5 s"
    assert ask(running, "baud", "19200") == "baud: 19200"
    with pytest.raises(TelltickError, match=r"refused: .*stays at 19200 baud"):
        ask(running, "baud", "31337")
    assert main(["ask", str(running), "resume"]) == 1
    assert "refused: the recording is running" in capsys.readouterr().err
    assert main(["ask", str(running), "finish"]) == 0
    assert capsys.readouterr().out == "the session ends\n"


@pytest.mark.parametrize(("word", "value"), [("baud", None), ("resume", "now"), ("interval", None)])
def test_a_number_too_few_or_too_many_is_bad_use(tmp_path, word, value):
    with pytest.raises(BadInputError, match="see telltick ask --help"):
        ask(tmp_path, word, value)


def test_where_nobody_records_there_is_nobody_to_ask(tmp_path):
    with Journal.create(tmp_path, FACTS):
        pass
    with pytest.raises(BadInputError, match="nobody is recording"):
        ask(tmp_path, "finish")
    with pytest.raises(BadSessionError):
        ask(Path(tmp_path / "nowhere"), "finish")


def test_a_recorder_that_does_not_answer_is_told(tmp_path):
    with Journal.create(tmp_path, FACTS):
        pass
    with hold(tmp_path), pytest.raises(TelltickError, match="has not answered"):
        ask(tmp_path, "finish", patience_s=0.2, sleep=lambda _: None)
    with SessionReader(tmp_path) as reader:
        assert len(reader.requests) == 1


def test_every_word_is_offered_on_the_command_line():
    for word in WORDS:
        assert build_parser().parse_args(["ask", "s", word]).what == word
