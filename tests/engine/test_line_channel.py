"""The data line on a channel of its own: bursts on the audio's clock, to the sample, live and imported."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pytest
import soundfile

from telltick.cli import main
from telltick.engine.capture import AudioCapture
from telltick.engine.line_channel import HOLD_ANCHORS, LineChannel, PlannedAnchors
from telltick.engine.offline import measured_document
from telltick.model.clock import NS, Anchor, AudioClock
from telltick.model.framing import Framing, line_edges
from telltick.model.session import SessionFacts
from telltick.model.tap import ChannelPlan
from telltick.model.traffic import Burst, Direction
from telltick.sources.audio import AudioBlock
from telltick.store.journal import Journal
from telltick.store.segments import AudioWriter
from telltick.store.session import SessionReader
from tests.engine.sessions import RATE, rendered
from tests.engine.test_capture import FakeSource

SECONDS = 20.0


def line_of(bursts: list[Burst], samples: int, latency_s: float = 0.0) -> np.ndarray:
    """The line's channel, as an attenuator gives it: mark low, each burst at its own time."""
    line = np.full(samples, -1.0)
    for burst in bursts:
        at_s, steps = line_edges(burst.data, 9600, Framing())
        for edge_s, step in zip(at_s, steps, strict=True):
            # The first sample at or after the edge has the new level: half a sample late on average.
            first = int(np.ceil((burst.start_ns / NS + latency_s + edge_s) * RATE))
            line[first:] = 1.0 if step < 0 else -1.0
    return (6000 * line).astype(np.int16)


class Stereo(FakeSource):
    rate_hz = RATE


@pytest.fixture(scope="module")
def truth():
    session = rendered(seconds=SECONDS)
    sent = [burst for burst in session.bursts if burst.direction is Direction.TX]
    return session, sent, line_of(sent, len(session.audio))


def capture(
    folder, audio, line, *, drift_ppm: float = 80.0, jitter_s: float = 0.008, lose: Callable = lambda _: 0
):
    """Audio and line through a capture whose blocks come late at random, from a sound card that runs fast."""
    facts = SessionFacts(name="t", started_wall_ns=0, rate_hz=RATE, source="sound card")
    bursts: list[Burst] = []
    now = [0]
    draw = np.random.default_rng(5)
    with Journal.create(folder, facts) as journal:
        channel = LineChannel(ChannelPlan(channel=2, baud=9600), RATE, bursts.append)
        taken = AudioCapture(
            Stereo(),
            AudioWriter(folder, RATE),
            journal,
            lambda _: None,
            now_ns=lambda: now[0],
            zero_ns=0,
            line=channel,
        )
        taken.start()
        for first in range(0, len(audio), 960):
            end_s = (first + 960) / RATE / (1 + drift_ppm * 1e-6) + lose(first)
            now[0] = round((end_s + 0.003 + jitter_s * draw.random()) * NS)
            overflow = lose(first) > lose(first - 960)
            block = slice(first, first + 960)
            taken.take(AudioBlock(audio[block], now[0], overflow, line[block]))
        taken.end_run()
        taken.close()
        journal.add_bursts(bursts)
    return SessionReader(folder)


def off_by_samples(reader: SessionReader, sent: list[Burst]) -> np.ndarray:
    """How far each burst, read back by way of session time, is from where the line's channel has it."""
    gate = reader.gate()
    want = np.array([burst.start_ns for burst in sent]) / NS * RATE
    assert len(gate.start_s) == len(want)
    return gate.start_s * RATE - want


def test_bursts_lie_on_the_audio_to_the_sample_whatever_the_clocks_do(tmp_path, truth):
    session, sent, line = truth
    with capture(tmp_path, session.audio, line) as reader:
        assert [burst.data for burst in reader.bursts] == [burst.data for burst in sent]
        assert {burst.direction for burst in reader.bursts} == {Direction.TX}
        assert np.abs(off_by_samples(reader, sent)).max() <= 1.0


def test_a_gap_parts_the_line_as_it_parts_the_audio(tmp_path, truth):
    session, sent, line = truth
    with capture(tmp_path, session.audio, line, lose=lambda first: 0.5 * (first >= 12 * RATE)) as reader:
        assert len(reader.gaps) == 1
        assert {anchor.run for anchor in reader.anchors} == {0, 1}
        kept = [burst for burst in sent if abs(burst.start_ns / NS - 12) > 0.05]
        starts = np.array([burst.start_ns for burst in kept]) / NS * RATE
        found = reader.gate().start_s * RATE
        assert max(np.abs(found - start).min() for start in starts) <= 1.0


def test_anchors_never_move_what_was_said_before():
    anchors, planned = [], PlannedAnchors(RATE, 0, 9_000_000)
    said: list[tuple[int, int]] = []
    anchors.append(Anchor(0, 0, planned.anchor_ns, 0))
    draw = np.random.default_rng(2)
    for _ in range(200):
        said += [(planned.sample + k, planned.t_ns(planned.sample + k)) for k in (0, 1000, 47_999)]
        better = (planned.sample + RATE) * NS // RATE + round(-3_000_000 * draw.random())
        planned.step(better)
        anchors.append(Anchor(0, planned.sample, planned.anchor_ns, 0))
    clock = AudioClock(RATE, anchors)
    back = clock.sample_at([t_ns for _, t_ns in said])
    assert np.abs(back - [sample for sample, _ in said]).max() < 0.001
    assert anchors[HOLD_ANCHORS].t_ns - anchors[0].t_ns == HOLD_ANCHORS * NS
    assert anchors[-1].t_ns < anchors[-1].sample * NS // RATE  # it did follow the better estimate


def test_an_imported_recording_with_the_line_in_its_second_channel_is_measured(tmp_path, truth, capsys):
    session = truth[0]
    sent = list(session.bursts)  # a bus of one wire: requests and replies
    both = np.stack([session.audio, line_of(sent, len(session.audio))], axis=1)
    soundfile.write(tmp_path / "both.flac", both, RATE, subtype="PCM_16")
    words = [str(tmp_path / "both.flac"), "--session", str(tmp_path / "s"), "--poll-channel", "2"]
    assert main(["import", *words, "--baud", "9600", "--framing", "8N1"]) == 0
    with SessionReader(tmp_path / "s") as reader:
        assert [burst.data for burst in reader.bursts] == [burst.data for burst in sent]
        assert np.abs(off_by_samples(reader, sent)).max() <= 1.0
        assert np.array_equal(reader.audio.read(0, reader.audio.samples), session.audio)
    found = measured_document(tmp_path / "s")
    assert found["whole"]["verdict"] == "tied to polling"
    assert found["latency_ms"]["value"] == pytest.approx(session.latency_s * 1000, abs=2.0)


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("--poll-channel", "1"), "needs its own"),
        (("--poll-channel", "3"), "no channel 3"),
        (("--poll-channel", "2", "--bursts", "b.csv"), "choose one"),
    ],
)
def test_an_import_that_cannot_be_is_refused_with_words(tmp_path, capsys, words, why):
    soundfile.write(tmp_path / "both.wav", np.zeros((RATE, 2), dtype=np.int16), RATE, subtype="PCM_16")
    (tmp_path / "b.csv").write_text("start_s,end_s,direction,bytes_hex\n", encoding="utf-8")
    words = [str(tmp_path / word) if word == "b.csv" else word for word in words]
    assert main(["import", str(tmp_path / "both.wav"), "--session", str(tmp_path / "s"), *words]) == 2
    assert why in capsys.readouterr().err
    assert not (tmp_path / "s").exists()


def test_a_recording_hears_the_line_in_the_second_channel_of_its_input(tmp_path, capsys):
    """Real time: a stereo file played as a sound card would deliver it."""
    session = rendered(seconds=SECONDS)
    count = 3 * RATE
    sent = [b for b in session.bursts if b.direction is Direction.TX and b.end_ns < 2.9 * NS]
    both = np.stack([session.audio[:count], line_of(sent, count)], axis=1)
    soundfile.write(tmp_path / "both.wav", both, RATE, subtype="PCM_16")
    begun = time.monotonic()
    words = ["--audio", str(tmp_path / "both.wav"), "--poll-channel", "2", "--baud", "9600"]
    assert main(["record", *words, "--session", str(tmp_path / "s")]) == 0
    assert time.monotonic() - begun < 60
    assert "never connect a serial line straight" in capsys.readouterr().err.lower()
    with SessionReader(tmp_path / "s") as reader:
        assert [burst.data for burst in reader.bursts] == [burst.data for burst in sent]
        assert np.abs(off_by_samples(reader, sent)).max() <= 1.0
        assert reader.facts.poll["way"] == "audio channel"
