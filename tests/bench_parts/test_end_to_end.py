"""The whole way: a radio on a real serial line, its receiver's audio through the real PortAudio, a recorder
process, marks by keypress on the real screen, and then measuring, replay and exports of what was recorded."""

from __future__ import annotations

import asyncio
import csv
import json
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
import soundfile
import webvtt
from jsonschema import Draft202012Validator
from referencing import Registry, Resource
from textual.pilot import Pilot

from telltick.cli import main
from telltick.engine.live import LiveFeed
from telltick.engine.offline import measured_document
from telltick.engine.replay import SavedFeed
from telltick.export.json_out import MEASUREMENT, SESSION, schema
from telltick.model.clock import NS
from telltick.model.marks import MarkKind
from telltick.model.plan import Settings
from telltick.model.readings import Verdict
from telltick.model.snapshot import Phase, Snapshot, View
from telltick.sources.bench.offline import render_session_audio
from telltick.sources.bench.parts import bench_plan
from telltick.sources.bench.script import Change
from telltick.store.session import SessionReader
from telltick.ui.app import ScreenExit, TelltickApp
from tests.bench_parts.recording import Recording
from tests.bench_parts.sound_server import SoundServer

pytestmark = pytest.mark.bench_part

PATIENCE_S = 90.0
SEED = 11


class Bench:
    """The simulated bench in a process of its own; a context manager."""

    def __init__(self, fifo: Path) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.bench_parts.bench_process", str(SEED), str(fifo)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self.port = self._answer()

    def _answer(self) -> str:
        assert self._process.stdout is not None
        return self._process.stdout.readline().strip()

    def do(self, what: str) -> None:
        """What an operator's hands do: ``start`` for the radio's switch, or ``factor=value``."""
        assert self._process.stdin is not None
        self._process.stdin.write(f"{what}\n")
        self._process.stdin.flush()
        assert self._answer() == "done"

    def __enter__(self) -> Bench:
        return self

    def __exit__(self, *_: object) -> None:
        self._process.kill()
        self._process.communicate()


class Operator:
    """Someone at the screen who looks before doing the next thing."""

    def __init__(self, app: TelltickApp, pilot: Pilot) -> None:
        self._app, self._pilot = app, pilot

    @property
    def sees(self) -> Snapshot:
        return self._app.session.desk.snapshot

    async def wait(self, holds: Callable[[Snapshot], bool], what: str) -> None:
        deadline = time.monotonic() + PATIENCE_S
        while not holds(self.sees):
            assert time.monotonic() < deadline, f"waited in vain for {what}; the screen has {self.sees}"
            await self._pilot.pause(0.1)

    async def press(self, *keys: str) -> None:
        await self._pilot.press(*keys)

    async def type(self, text: str) -> None:
        await self._pilot.press(*("space" if letter == " " else letter for letter in text), "enter")


async def operate(folder: Path, bench: Bench) -> ScreenExit | None:
    """An evening at the hut in half a minute, all by keys."""
    feed = LiveFeed(folder)
    app = TelltickApp(feed, Settings(), ascii_only=False)
    async with app.run_test(size=(120, 40)) as pilot:
        operator = Operator(app, pilot)
        await operator.wait(lambda seen: seen.phase is Phase.RECORDING, "the recorder")
        await operator.wait(lambda seen: seen.step.verdict is Verdict.TIED, "a tie to the polling")
        await operator.wait(lambda seen: seen.step.polls >= 40, "forty polls of the first step")
        await operator.press("a")
        await operator.wait(lambda seen: seen.open_mark is not None, "hands on")
        bench.do("antenna=dummy load")
        hands_on_ns = operator.sees.now_ns
        await operator.wait(lambda seen: seen.now_ns > hands_on_ns + NS, "a second of hands on")
        await operator.type("dummy load")
        await operator.wait(lambda seen: seen.setup.get("antenna") == "dummy load", "the new setup")
        await operator.wait(lambda seen: seen.step.polls >= 40, "forty polls of the second step")
        await operator.press("x")
        await operator.press("n")
        await operator.type("rain on the roof")
        await operator.wait(lambda seen: len(seen.marks) == 3, "mark and note")
        await operator.press("p")
        await operator.wait(lambda seen: not seen.polling.on, "polling to stop")
        stopped_ns = operator.sees.now_ns
        await operator.wait(lambda seen: seen.now_ns > stopped_ns + 3 * NS, "three seconds without polls")
        await operator.press("p")
        await operator.wait(lambda seen: seen.polling.on, "polling to start")
        await operator.wait(lambda seen: seen.step.polls >= 30, "thirty polls of the last step")
        await operator.press("q")
        await operator.press("s")
        await pilot.pause()
    feed.close()
    return app.return_value


def valid(document: object, name: str) -> None:
    """Fails when a document is not as the JSON Schema (draft 2020-12) of that name says."""
    schemas = [Resource.from_contents(schema(one)) for one in (MEASUREMENT, SESSION)]
    registry = Registry().with_resources([(one.id(), one) for one in schemas])
    Draft202012Validator(schema(name), registry=registry).validate(document)


@pytest.fixture(scope="module")
def evening(tmp_path_factory, sound_parts):
    """The recorded session's folder; how the screen was left; what the recorder said at its end."""
    folder = tmp_path_factory.mktemp("evening") / "session"
    with SoundServer(tmp_path_factory.mktemp("sound")) as server, Bench(server.fifo) as bench:
        plan = bench_plan(bench.port)
        options = (
            *("--audio", "rxpipe", "--port", bench.port, "--frame", plan.frame_text or ""),
            *("--reply-end", plan.reply_terminator or "", "--seed", "3"),
        )
        with Recording(folder, *options, env=server.environment) as recording:
            bench.do("start")
            left = asyncio.run(operate(folder, bench))
            ended = recording.finish()
    return folder, left, ended


@pytest.fixture(scope="module")
def measured(evening):
    return measured_document(evening[0])


@pytest.fixture(scope="module")
def truth():
    """Excess at the beam and at the dummy load, as the bench was built to have it."""
    rendered = render_session_audio(SEED, 40.0, changes=(Change(20.0, "antenna", "dummy load"),))
    return [step.excess_db for step in rendered.truth]


def test_stop_and_save_ends_the_recorder_cleanly(evening):
    folder, left, (code, out, err) = evening
    assert left is ScreenExit.FINISH
    assert (code, err) == (0, "")
    assert out.endswith("requested\n")
    with SessionReader(folder) as reader:
        assert reader.ending.how == "requested"
        assert reader.facts.audio_name == "rxpipe"


def test_the_polls_were_real_and_were_answered(evening):
    with SessionReader(evening[0]) as reader:
        answered = [poll for poll in reader.polls if poll.reply_ns is not None]
        assert len(answered) >= 0.9 * len(reader.polls) > 90


def test_every_keypress_is_in_the_journal(evening):
    with SessionReader(evening[0]) as reader:
        marks = reader.marks
        asked = [
            (request.verb, outcome.done)
            for request, outcome in zip(reader.requests, reader.outcomes, strict=True)
        ]
    operators = [mark for mark in marks if mark.origin == "operator"]
    assert [mark.kind for mark in operators] == [MarkKind.CHANGE, MarkKind.PLAIN, MarkKind.NOTE]
    change, _, note = operators
    assert (change.factor, change.value) == ("antenna", "dummy load")
    assert change.settled_ns - change.t_ns > NS
    assert note.note == "rain on the roof"
    programs = [(mark.factor, mark.value) for mark in marks if mark.origin == "program"]
    assert programs == [("polling", "off"), ("polling", "on")]
    assert asked == [("stop polling", True), ("start polling", True), ("finish", True)]
    assert not any(mark.late for mark in marks)


def test_the_measurement_finds_the_tie_and_the_steps(measured, truth):
    valid(measured, MEASUREMENT)
    assert measured["whole"]["verdict"] == "tied to polling"
    beam, load, off, on = measured["steps"]
    assert "antenna" not in beam["setup"]  # the station profile did not say
    assert load["setup"]["antenna"] == on["setup"]["antenna"] == "dummy load"
    assert [step["setup"]["polling"] for step in (load, off, on)] == ["on", "off", "on"]
    assert [step["verdict"] for step in (beam, load, off, on)] == [
        "tied to polling",
        "tied to polling",
        "control, no polls",
        "tied to polling",
    ]
    for step, excess_db in ((beam, truth[0]), (load, truth[1]), (on, truth[1])):
        assert step["excess_db"]["value"] == pytest.approx(excess_db, abs=0.8)
    assert 63 < measured["latency_ms"]["value"] < 400  # the bench's own, and what PortAudio adds


def test_the_first_step_is_louder_in_noise_and_the_load_uncovers_the_cable(measured):
    beam, load, off, _ = measured["steps"]
    assert load["noise_dbfs"] < beam["noise_dbfs"] - 1
    assert load["excess_db"]["low"] > beam["excess_db"]["high"]
    assert off["noise_dbfs"] == pytest.approx(load["noise_dbfs"], abs=2.0)  # three seconds of noise alone


def test_replay_shows_what_was_seen_live(evening, measured):
    feed = SavedFeed(evening[0], clock_ns=lambda: 0)
    feed.seek_mark(1)
    feed.seek(feed.moment_ns() - NS // 10)
    for _ in range(3):
        before = feed.look(View())
    feed.seek_mark(1)
    during = feed.look(View())
    feed.close()
    assert before.step.verdict is Verdict.TIED
    assert before.step.excess_db.value == pytest.approx(measured["steps"][0]["excess_db"]["value"], abs=0.3)
    assert during.open_mark is None or during.step.excess_db is None


def test_exports_hold_the_evening(evening, measured, tmp_path):
    folder = str(evening[0])
    for kind, place in (("csv", "tables"), ("json", "s.json"), ("vtt", "s.vtt")):
        assert main(["export", folder, "--to", kind, "-o", str(tmp_path / place)]) == 0
    document = json.loads((tmp_path / "s.json").read_text(encoding="utf-8"))
    valid(document, SESSION)
    assert document["measurement"]["whole"] == measured["whole"]
    captions = [caption.text for caption in webvtt.read(tmp_path / "s.vtt")]
    assert captions[0] == "antenna: dummy load"
    assert any("rain on the roof" in text for text in captions)
    with (tmp_path / "tables" / "steps.csv").open(encoding="utf-8", newline="") as file:
        assert [row["step"] for row in csv.DictReader(file)] == ["whole", "0", "1", "2", "3"]
    with (tmp_path / "tables" / "journal.csv").open(encoding="utf-8", newline="") as file:
        assert any("rain on the roof" in row for line in csv.reader(file) for row in line)


def test_the_evening_exported_and_imported_measures_the_same(evening, measured, tmp_path):
    with SessionReader(evening[0]) as reader:
        soundfile.write(
            tmp_path / "evening.flac", reader.audio.read(0, reader.audio.samples), reader.facts.rate_hz
        )
    main(["export", str(evening[0]), "--to", "csv", "-o", str(tmp_path / "tables")])
    bursts = str(tmp_path / "tables" / "bursts.csv")
    session = str(tmp_path / "again")
    assert main(["import", str(tmp_path / "evening.flac"), "--bursts", bursts, "--session", session]) == 0
    again = measured_document(Path(session))
    assert again["whole"]["verdict"] == "tied to polling"
    assert again["latency_ms"]["value"] == pytest.approx(measured["latency_ms"]["value"], abs=1.0)
