"""Audio segments: what went in comes out bit-exact, and any program can read the files.

Foreign readers: libsndfile (through soundfile) and the standard library's wave module.
"""

from __future__ import annotations

import errno
import wave
from io import FileIO

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from telltick.model.errors import BadSessionError, StorageError
from telltick.store.segments import AudioReader, AudioWriter, segment_name
from tests.store.scene import RATE, noise


def write(folder, samples, segment_s=2):
    with AudioWriter(folder, RATE, segment_s) as writer:
        writer.write(samples)
    return folder / "audio"


def test_audio_comes_back_bit_exact_across_segments(folder):
    samples = noise(7 * RATE + 123)
    write(folder, samples)
    reader = AudioReader(folder, RATE)
    assert reader.samples == len(samples)
    np.testing.assert_array_equal(reader.read(0, len(samples)), samples)
    np.testing.assert_array_equal(reader.read(2 * RATE - 5, 10), samples[2 * RATE - 5 : 2 * RATE + 5])


def test_segments_are_named_by_their_first_sample_and_roll_over_exactly(folder):
    audio = write(folder, noise(5 * RATE))
    assert sorted(path.name for path in audio.iterdir()) == [
        "000000000000.wav", f"{2 * RATE:012d}.wav", f"{4 * RATE:012d}.wav",
    ]  # fmt: skip


def test_other_programs_read_every_segment(folder):
    samples = noise(3 * RATE)
    audio = write(folder, samples)
    first, rate = soundfile.read(audio / segment_name(0), dtype="int16")
    assert rate == RATE
    np.testing.assert_array_equal(first, samples[: 2 * RATE])
    with wave.open(str(audio / segment_name(2 * RATE))) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getnframes()) == (1, 2, RATE)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(0, 3 * RATE), max_size=6), st.integers(0, 5 * RATE), st.integers(0, 5 * RATE))
def test_however_audio_arrives_and_is_asked_for_it_is_the_same(tmp_path_factory, sizes, first, count):
    folder = tmp_path_factory.mktemp("s")
    samples = noise(sum(sizes))
    with AudioWriter(folder, RATE, segment_s=1) as writer:
        for block in np.split(samples, np.cumsum(sizes)[:-1]) if sizes else ():
            writer.write(block)
        assert writer.samples == len(samples)
    np.testing.assert_array_equal(
        AudioReader(folder, RATE).read(first, count), samples[first : first + count]
    )


def test_a_reader_follows_a_growing_file_whose_header_is_stale(folder):
    reader = AudioReader(folder, RATE)
    writer = AudioWriter(folder, RATE)
    assert reader.samples == 0
    samples = noise(RATE // 2)
    writer.write(samples)  # less than a second: the header still says 0
    with wave.open(str(folder / "audio" / segment_name(0))) as file:
        assert file.getnframes() == 0
    assert reader.refresh()
    assert not reader.refresh()
    np.testing.assert_array_equal(reader.read(0, RATE), samples)
    writer.close()


def test_the_header_is_brought_up_to_date_each_second(folder):
    writer = AudioWriter(folder, RATE)
    for _ in range(30):
        writer.write(noise(RATE // 10))
    with wave.open(str(folder / "audio" / segment_name(0))) as file:
        assert file.getnframes() == 3 * RATE
    writer.close()


@pytest.mark.parametrize("extra", [b"\x01", b""])
def test_a_torn_last_write_loses_half_a_sample_at_most(folder, extra):
    samples = noise(RATE)
    path = write(folder, samples) / segment_name(0)
    with path.open("r+b") as file:
        file.seek(0, 2)
        file.write(extra)
    reader = AudioReader(folder, RATE)
    np.testing.assert_array_equal(reader.read(0, 2 * RATE), samples)


@pytest.mark.parametrize("size", [0, 10, 44])
def test_a_segment_killed_in_its_header_counts_as_empty(folder, size):
    samples = noise(2 * RATE)
    audio = write(folder, samples)
    header = (audio / segment_name(0)).read_bytes()[:size]
    (audio / segment_name(2 * RATE)).write_bytes(header)
    reader = AudioReader(folder, RATE)
    assert reader.samples == 2 * RATE


def test_a_missing_segment_is_named_and_the_rest_stays_readable(folder):
    samples = noise(6 * RATE)
    audio = write(folder, samples)
    (audio / segment_name(2 * RATE)).unlink()
    reader = AudioReader(folder, RATE)
    np.testing.assert_array_equal(reader.read(4 * RATE, RATE), samples[4 * RATE : 5 * RATE])
    for first, count in ((0, 6 * RATE), (2 * RATE, 1), (3 * RATE, 2 * RATE)):
        with pytest.raises(BadSessionError, match=segment_name(2 * RATE)):
            reader.read(first, count)


def test_a_missing_first_segment_is_named(folder):
    audio = write(folder, noise(4 * RATE))
    (audio / segment_name(0)).unlink()
    with pytest.raises(BadSessionError, match=segment_name(0)):
        AudioReader(folder, RATE).read(0, 10)


def test_a_segment_that_claims_to_lie_far_away_costs_no_memory(folder):
    audio = write(folder, noise(RATE))
    (audio / "999999999999.wav").write_bytes((audio / segment_name(0)).read_bytes())
    reader = AudioReader(folder, RATE)
    with pytest.raises(BadSessionError, match="audio is missing"):
        reader.read(0, reader.samples)


@pytest.mark.parametrize(
    ("rate", "channels", "subtype"),
    [(16_000, 1, "PCM_16"), (RATE, 2, "PCM_16"), (RATE, 1, "PCM_24"), (RATE, 1, "FLOAT")],
)
def test_foreign_wav_files_are_refused(folder, rate, channels, subtype):
    (folder / "audio").mkdir()
    path = folder / "audio" / segment_name(0)
    soundfile.write(path, np.zeros((100, channels)), rate, subtype=subtype, format="WAV")
    with pytest.raises(BadSessionError, match=segment_name(0)):
        AudioReader(folder, RATE)


def test_a_segment_that_leads_out_of_the_folder_is_refused(folder, tmp_path):
    audio = write(folder, noise(RATE))
    outside = tmp_path / "outside.wav"
    (audio / segment_name(0)).rename(outside)
    (audio / segment_name(0)).symlink_to(outside)
    with pytest.raises(BadSessionError, match="not a plain file"):
        AudioReader(folder, RATE)


def test_files_of_other_names_are_left_alone(folder):
    audio = write(folder, noise(RATE))
    (audio / "notes.txt").write_text("hello")
    (audio / "12.wav").write_text("hello")
    assert AudioReader(folder, RATE).samples == RATE


class SmallDisk:
    """A disk that takes `room` bytes and writes at most `at_once` of them in one call."""

    def __init__(self, room: int, at_once: int = 10**9):
        self.room, self.at_once = room, at_once

    def write(self, file: FileIO, data) -> int:
        data = memoryview(data)
        if self.room == 0 and data:
            raise OSError(errno.ENOSPC, "No space left on device")
        count = min(len(data), self.room, self.at_once)
        self.room -= count
        return self.real_write(file, data[:count])

    real_write = staticmethod(FileIO.write)


@pytest.fixture
def disk(monkeypatch):
    """Writes of the audio writer go through a small disk."""
    small = SmallDisk(10**9)

    class Slow(FileIO):
        def write(self, data):
            return small.write(self, data)

    monkeypatch.setattr("telltick.store.segments.FileIO", Slow)
    return small


def test_short_writes_are_carried_on(folder, disk):
    disk.at_once = 777
    samples = noise(5 * RATE)
    write(folder, samples)
    np.testing.assert_array_equal(AudioReader(folder, RATE).read(0, 10 * RATE), samples)


@pytest.mark.parametrize("room", [0, 20, 44, 45, 44 + 2 * RATE + 1, 44 + 2 * 2 * RATE + 50])
def test_a_full_disk_leaves_whole_samples_and_writing_goes_on_later(folder, disk, room):
    samples = noise(4 * RATE)
    disk.room = room
    writer = AudioWriter(folder, RATE, segment_s=2)
    with pytest.raises(StorageError, match="free some space"):
        writer.write(samples)
    kept = writer.samples
    np.testing.assert_array_equal(AudioReader(folder, RATE).read(0, 4 * RATE), samples[:kept])
    disk.room = 10**9
    writer.write(samples[kept:])
    writer.close()
    np.testing.assert_array_equal(AudioReader(folder, RATE).read(0, 4 * RATE), samples)


def test_a_negative_index_is_a_mistake_of_the_caller(folder):
    write(folder, noise(10))
    with pytest.raises(ValueError, match="no sample -1"):
        AudioReader(folder, RATE).read(-1, 5)
