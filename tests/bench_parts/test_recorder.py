"""The recorder as a process: it records, obeys, ends cleanly, and loses nothing when it is killed."""

from __future__ import annotations

import json
import signal
import subprocess
import sys

import numpy as np
import pytest

from telltick.engine.launch import start_detached
from telltick.engine.offline import measured_document
from telltick.model.clock import NS
from telltick.model.marks import MarkKind, Origin
from telltick.model.session import Verb
from telltick.model.traffic import Direction, PollOutcome
from telltick.store.folder import is_session
from telltick.store.journal import Journal
from telltick.store.lock import held
from telltick.store.session import SessionReader
from tests.bench_parts.recording import PATIENCE_S, Recording, wait_until

pytestmark = pytest.mark.bench_part

BENCH = ("--bench", "--seed=7")


@pytest.fixture
def recording(tmp_path):
    with Recording(tmp_path / "session", *BENCH) as running:
        yield running


# ---- how it ends


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_a_signal_ends_it_cleanly_and_is_journalled(recording, number):
    recording.wait_for(lambda now: bool(now.anchors) and len(now.polls) > 3, "audio and polls")
    recording.send(number)
    code, out, err = recording.finish()
    assert (code, err) == (0, "")
    assert out.endswith(": signal\n")
    assert recording.reader.ending.how == "signal"
    assert not held(recording.folder)


def test_a_viewer_can_ask_for_the_end(recording):
    recording.wait_for(lambda now: bool(now.anchors), "audio")
    assert recording.ask(Verb.FINISH).done
    assert recording.finish()[0] == 0
    assert recording.reader.ending.how == "requested"


def test_an_ended_session_is_one_plain_file_and_its_audio(recording):
    recording.wait_for(lambda now: bool(now.anchors), "audio")
    recording._reader.close()
    recording._reader = None
    recording.send(signal.SIGTERM)
    recording.finish()
    assert {path.name for path in recording.folder.iterdir()} == {"journal.sqlite", "audio", "recorder.lock"}


def test_a_second_recorder_is_turned_away_and_the_first_goes_on(recording, tmp_path):
    recording.wait_for(lambda now: bool(now.anchors), "audio")
    second = Recording(recording.folder, *BENCH)
    code, _, err = second.finish()
    assert code == 2
    assert f"is being recorded by process {recording.process.pid}" in err
    assert err.count("\n") == 1
    recording.wait_for_polls(3)


def test_a_detached_recorder_has_a_session_of_its_own_and_a_private_log(tmp_path):
    folder = tmp_path / "session"
    folder.mkdir(mode=0o700)
    process = start_detached(folder, [*BENCH, "--seconds=2"], folder_made=True)
    try:
        assert held(folder)
        ended = subprocess.run(
            [sys.executable, "-c", f"import os; print(os.getsid({process.pid}))"],
            capture_output=True,
            text=True,
            check=True,
        )
        assert int(ended.stdout) == process.pid
        assert process.wait(timeout=PATIENCE_S) == 0
    finally:
        process.kill()
        process.wait()
    assert (folder / "recorder.log").stat().st_mode & 0o077 == 0
    assert "time is up" in (folder / "recorder.log").read_text(encoding="utf-8")


# ---- what it records


@pytest.fixture(scope="module")
def recorded(tmp_path_factory):
    """Eight seconds that ended by themselves."""
    with Recording(tmp_path_factory.mktemp("recorded") / "session", *BENCH, "--seconds=8") as running:
        assert running.finish()[0] == 0
        yield running.reader


def test_the_time_it_was_given_is_journalled_as_its_end(recorded):
    assert recorded.ending.how == "time is up"
    assert 8.0 <= recorded.ending.t_ns / NS < 8.5


def test_audio_is_continuous_but_for_the_gaps_it_admits(recorded):
    heard_s = recorded.audio.samples / recorded.facts.rate_hz
    missing_s = sum(gap.end_ns - gap.start_ns for gap in recorded.gaps) / NS
    assert heard_s + missing_s == pytest.approx((recorded.end_ns - recorded.start_ns) / NS, abs=0.1)
    assert (recorded.ending.t_ns - recorded.end_ns) / NS < 0.3
    assert recorded.start_ns / NS < 1.0


def test_the_audio_clock_is_anchored_every_second_from_the_first_sample_on(recorded):
    anchors = [anchor for anchor in recorded.anchors if anchor.run == 0]
    assert anchors[0].sample == 0
    assert len(anchors) >= 7
    samples = np.array([anchor.sample for anchor in anchors])
    t_s = np.array([anchor.t_ns for anchor in anchors]) / NS
    assert (np.diff(t_s) < 1.3).all()
    offsets = t_s - samples / recorded.facts.rate_hz
    assert np.ptp(offsets[3:]) < 0.02  # the min-filter has settled; the simulated clock does not drift


def test_the_radio_is_polled_on_schedule_and_answers(recorded):
    polls = recorded.polls
    assert [poll.number for poll in polls] == list(range(len(polls)))
    assert 36 <= len(polls) <= 41
    answered = [poll for poll in polls if poll.outcome is PollOutcome.REPLY]
    assert len(answered) >= 0.9 * len(polls)
    late_s = np.array([poll.sent_ns - poll.due_ns for poll in polls]) / NS
    assert np.median(late_s) < 0.01


def test_both_directions_are_kept_with_their_bytes_and_the_time_these_take(recorded):
    plan = recorded.facts.poll
    tx = [burst for burst in recorded.bursts if burst.direction is Direction.TX]
    rx = [burst for burst in recorded.bursts if burst.direction is Direction.RX]
    assert {burst.data for burst in tx} == {plan["frame_text"].encode()}
    assert all(burst.data.endswith(bytes.fromhex(plan["reply_terminator"])) for burst in rx)
    # 10 bits a character at 9600 baud (8N1): bits / baud
    lengths = np.array([(burst.end_ns - burst.start_ns) / NS / len(burst.data) for burst in tx])
    assert np.median(lengths) == pytest.approx(10 / 9600, rel=0.02)


def test_the_interference_of_its_polls_is_found_in_its_audio(recorded):
    found = measured_document(recorded.folder)
    assert found["whole"]["verdict"] == "tied to polling"
    # 5.5 dB I/N at the bench's defaults; live polls differ a little from the standard poll it is set for
    assert found["whole"]["i_over_n_db"] == pytest.approx(5.5, abs=0.8)
    assert found["latency_ms"]["value"] == pytest.approx(63, abs=4)


# ---- requests and marks of other processes


def program_marks(reader: SessionReader) -> list[tuple[str, str]]:
    return [(mark.factor, mark.value) for mark in reader.marks if mark.origin is Origin.PROGRAM]


def test_polling_stops_and_starts_again_on_request(recording):
    recording.wait_for_polls(5)
    stopped = recording.ask(Verb.STOP_POLLING)
    assert stopped.done
    before = recording.seconds
    recording.wait_for(lambda _: recording.seconds > before + 1.0, "a second without polls")
    started = recording.ask(Verb.START_POLLING)
    assert started.done
    recording.wait_for(lambda now: now.polls[-1].sent_ns > started.t_ns, "a poll")
    sent_s = [burst.start_ns / NS for burst in recording.reader.bursts if burst.direction is Direction.TX]
    # The request under way when the stop came may still be on the line; no other begins before the start.
    silent = [s for s in sent_s if stopped.t_ns / NS < s < started.t_ns / NS - 0.02]
    assert silent == []
    assert program_marks(recording.reader) == [("polling", "off"), ("polling", "on")]


def test_interval_and_baud_change_on_request(recording):
    recording.wait_for_polls(5)
    interval = recording.ask(Verb.SET_INTERVAL, "0.4")
    baud = recording.ask(Verb.SET_BAUD, "19200")
    assert (interval.done, baud.done) == (True, True)
    recording.wait_for_polls(8)
    late = [poll.due_ns / NS for poll in recording.reader.polls if poll.sent_ns > baud.t_ns + NS // 2]
    assert np.median(np.diff(late)) == pytest.approx(0.4, abs=0.021)  # +-10 ms of jitter at each end
    tx = [burst for burst in recording.reader.bursts if burst.direction is Direction.TX][-1]
    assert (tx.end_ns - tx.start_ns) / NS / len(tx.data) == pytest.approx(10 / 19200, rel=0.02)
    assert recording.reader.polls[-2].outcome is PollOutcome.REPLY
    assert program_marks(recording.reader) == [("poll interval", "0.4 s"), ("baud", "19200")]


@pytest.mark.parametrize(
    ("verb", "value", "why"),
    [
        (Verb.SET_BAUD, "7", "must be 50"),
        (Verb.SET_BAUD, "fast", "number, not 'fast'"),
        (Verb.SET_INTERVAL, "0", "must be 0.01"),
        (Verb.SET_INTERVAL, "nan", "must be 0.01"),
        (Verb.SET_INTERVAL, "", "number"),
    ],
)
def test_what_cannot_be_is_refused_in_the_journal_and_changes_nothing(shared, verb, value, why):
    polls_before = len(shared.reader.polls)
    outcome = shared.ask(verb, value)
    assert not outcome.done
    assert why in outcome.note
    assert program_marks(shared.reader) == []
    shared.wait_for(lambda now: len(now.polls) > polls_before, "the next poll")


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    """A recorder that several tests talk to without changing it."""
    with Recording(tmp_path_factory.mktemp("shared") / "session", *BENCH) as running:
        yield running


def test_a_mark_of_another_process_changes_the_bench_and_stands_in_the_journal(recording):
    recording.wait_for(lambda now: now.audio.samples > 2 * now.facts.rate_hz, "two seconds of audio")
    program = (
        "import sys; from pathlib import Path; from telltick.store.journal import Journal;"
        "from telltick.model.marks import MarkKind\n"
        "with Journal.open(Path(sys.argv[1])) as journal:\n"
        "    journal.add_mark(t_ns=int(sys.argv[2]), settled_ns=int(sys.argv[2]), kind=MarkKind.CHANGE,"
        " factor='rf gain', value='minimum')\n"
    )
    t_ns = recording.reader.end_ns
    subprocess.run([sys.executable, "-c", program, str(recording.folder), str(t_ns)], check=True, timeout=60)
    now = recording.wait_for(lambda now: len(now.marks) == 1, "the mark")
    assert (now.marks[0].kind, now.marks[0].factor) == (MarkKind.CHANGE, "rf gain")
    at = now.audio.samples
    now = recording.wait_for(lambda now: now.audio.samples > at + 2 * now.facts.rate_hz, "more audio")
    rate = now.facts.rate_hz

    def level(first: int) -> float:
        """R.m.s. between the polls: the median of short pieces, since bytes flow an eighth of the time."""
        pieces = now.audio.read(first, rate).astype(float).reshape(-1, rate // 100)
        return float(np.median(np.sqrt(np.mean(pieces**2, axis=1))))

    assert level(now.audio.samples - rate) < 0.5 * level(0)


# ---- killed


def test_a_killed_recorder_leaves_a_session_that_opens_and_measures(recording):
    recording.wait_for(lambda now: now.audio.samples > 7 * now.facts.rate_hz, "seven seconds of audio")
    samples = recording.reader.audio.samples
    recording.send(signal.SIGKILL)
    recording.finish()
    wait_until(lambda: not held(recording.folder), "the lock to go")
    with SessionReader(recording.folder) as reader:
        assert reader.ending is None
        assert reader.audio.samples >= samples
        assert len(reader.polls) > 30
    found = measured_document(recording.folder)
    assert found["whole"]["verdict"] == "tied to polling"
    assert any("killed" in warning for warning in found["warnings"])


# ---- the demo in one command


def test_the_demo_without_a_screen_prints_what_it_measured(tmp_path):
    command = [sys.executable, "-m", "telltick", "demo", "--no-screen", "--seconds=8", "--seed=5", "--json"]
    done = subprocess.run(
        [*command, f"--session={tmp_path / 's'}"], capture_output=True, text=True, check=True, timeout=90
    )
    assert done.stderr == ""
    found = json.loads(done.stdout)
    assert found["whole"]["verdict"] == "tied to polling"
    assert found["session"]["ending"] == "time is up"


def test_an_interrupted_demo_still_measures_what_it_has(tmp_path):
    heeding = ["env", "--default-signal=INT"]  # tests that a script started in the background would not
    command = [*heeding, sys.executable, "-m", "telltick", "demo", "--no-screen", "--seconds=600", "--json"]
    folder = tmp_path / "s"
    process = subprocess.Popen(
        [*command, f"--session={folder}"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        wait_until(lambda: is_session(folder), "a session")
        with SessionReader(folder) as reader:
            wait_until(lambda: reader.refresh() and reader.audio.samples > 2 * 48_000, "audio")
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=PATIENCE_S)
    finally:
        if is_session(folder):  # whatever went wrong, the recorder must not run on
            with Journal.open(folder) as journal:
                journal.add_request(0, Verb.FINISH)
        process.kill()
        process.wait()
    assert err == ""
    assert json.loads(out)["session"]["ending"] == "signal"
