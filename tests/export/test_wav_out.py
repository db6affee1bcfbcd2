"""The marked WAV file as other programs read it.

References: soundfile (libsndfile) for the audio, wavinfo for cues, labels and regions; both independent.
"""

from __future__ import annotations

import struct
from dataclasses import replace

import numpy as np
import pytest
import soundfile
from wavinfo import WavInfoReader

from telltick.export.cues import Cue, cues_of, wav_info
from telltick.export.wav_out import write_wav
from telltick.model.errors import BadInputError, CancelledError
from tests.export.scene import RATE, measurement, session

SOUND = np.random.default_rng(2).normal(0, 3000, 40_000).astype(np.int16)
CUES = (
    Cue(0, 30_000, "step 1: antenna: beam"),
    Cue(100, 12, "poll 1"),
    Cue(100, 0, "note: Grüße, 5 µV"),
    Cue(39_999, 0, "end"),
)


def blocks(sound: np.ndarray, size: int = 7_001):
    return (sound[at : at + size] for at in range(0, len(sound), size))


@pytest.fixture
def path(tmp_path):
    place = tmp_path / "marked.wav"
    write_wav(place, blocks(SOUND), len(SOUND), RATE, cues=CUES, info={"ICMT": "odd", "INAM": "hut"})
    return place


def test_the_audio_is_the_same_to_the_last_bit(path):
    samples, rate = soundfile.read(path, dtype="int16")
    assert rate == RATE
    np.testing.assert_array_equal(samples, SOUND)


def test_cues_labels_and_regions_are_read_by_another_program(path):
    read = WavInfoReader(str(path), info_encoding="utf-8").cues
    found = [(at, read.label_and_note(n)[0], read.range(n)) for n, at in read.each_cue()]
    assert [(frame, label) for frame, label, _ in found] == [
        (0, "step 1: antenna: beam"), (100, "poll 1"), (100, "note: Grüße, 5 µV"), (39_999, "end"),
    ]  # fmt: skip
    assert [length for _, _, length in found] == [30_000, 12, None, None]


def test_the_file_says_what_it_is(path):
    info = WavInfoReader(str(path), info_encoding="utf-8").info
    assert (info.title, info.comment) == ("hut", "odd")


def chunks(data: bytes) -> list[tuple[bytes, int]]:
    """(name, length) of every chunk, by the rules of RIFF."""
    assert struct.unpack_from("<4sI4s", data) == (b"RIFF", len(data) - 8, b"WAVE")
    out, at = [], 12
    while at < len(data):
        name, length = struct.unpack_from("<4sI", data, at)
        out.append((name, length))
        at += 8 + length + length % 2
    assert at == len(data)
    return out


def test_chunks_fill_the_file_and_are_padded_to_even_lengths(path):
    assert [name for name, _ in chunks(path.read_bytes())] == [b"fmt ", b"data", b"cue ", b"LIST", b"LIST"]


def test_thousands_of_cues_do_not_keep_the_audio_from_being_read(tmp_path):
    place = tmp_path / "many.wav"
    cues = tuple(Cue(n, 3, f"poll {n}") for n in range(20_000))
    write_wav(place, blocks(SOUND), len(SOUND), RATE, cues=cues)
    assert soundfile.info(place).frames == len(SOUND)
    assert len(list(WavInfoReader(str(place)).cues.each_cue())) == 20_000


def test_more_than_four_gigabytes_are_written_as_rf64(tmp_path, monkeypatch):
    # EBU Tech 3306: id RF64, sizes of -1, and the true ones in a ds64 chunk that comes first. The limit is
    # lowered, so that the form can be read without gigabytes.
    monkeypatch.setattr("telltick.export.wav_out.LARGEST_RIFF", 50_000)
    place = tmp_path / "long.wav"
    write_wav(place, blocks(SOUND), len(SOUND), RATE, cues=CUES)
    data = place.read_bytes()
    assert struct.unpack_from("<4sI4s4sI", data) == (b"RF64", 0xFFFFFFFF, b"WAVE", b"ds64", 28)
    size, length, samples, table = struct.unpack_from("<QQQI", data, 20)
    assert (size, length, samples, table) == (len(data) - 8, 2 * len(SOUND), len(SOUND), 0)
    read, _ = soundfile.read(place, dtype="int16")
    np.testing.assert_array_equal(read, SOUND)


def test_a_cue_where_no_cue_can_point_is_refused(tmp_path):
    with pytest.raises(BadInputError, match="cannot point beyond 25 h"):
        write_wav(tmp_path / "x.wav", [], 0, RATE, cues=(Cue(2**32, 0, "late"),))


def test_giving_up_leaves_nothing(tmp_path):
    place = tmp_path / "x.wav"
    place.write_bytes(b"old")
    with pytest.raises(CancelledError):
        write_wav(place, blocks(SOUND), len(SOUND), RATE, overwrite=True, progress=lambda share: share < 0.5)
    assert place.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [place]


def test_audio_that_ends_early_is_told(tmp_path):
    with pytest.raises(BadInputError, match="ended after 40000 of 40001 samples"):
        write_wav(tmp_path / "x.wav", blocks(SOUND), len(SOUND) + 1, RATE)
    assert list(tmp_path.iterdir()) == []


def test_steps_marks_gaps_and_polls_become_cues_in_order_of_time():
    cues = cues_of(session(), measurement())
    assert [cue.sample for cue in cues] == sorted(cue.sample for cue in cues)
    labels = [cue.label for cue in cues]
    assert "step 2: antenna: dummy load" in labels
    assert "hands on, antenna: dummy load: screwed on" in labels
    assert any(label.startswith("gap: device lost") for label in labels)
    assert sum(label.startswith("poll") for label in labels) == 1  # the other one fell into the gap
    assert not any("\x1b" in label or "\n" in label for label in labels)


def test_polls_lie_where_they_are_heard():
    (heard,) = [cue for cue in cues_of(session(), measurement()) if cue.label == "poll 1"]
    (sent,) = [
        cue for cue in cues_of(session(), replace(measurement(), latency=None)) if cue.label == "poll 1"
    ]
    assert heard.sample - sent.sample == pytest.approx(0.0421 * RATE, abs=1)
    assert "42.1 ms after" in wav_info(session(), measurement(), "telltick")["ICMT"]
