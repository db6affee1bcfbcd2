"""Existing recordings: every form of file comes through as 16-bit samples.

Files are made with the standard library's wave module, with scipy.io.wavfile, and with libsndfile.
"""

from __future__ import annotations

import sys
import wave

import numpy as np
import pytest
import soundfile
from scipy.io import wavfile

from telltick.model.errors import BadInputError
from telltick.sources.audio_file import AudioFile

RATE = 16_000
NOISE = np.random.default_rng(7).integers(-30_000, 30_000, (20_000, 2), dtype=np.int16)


def read(path, channel=1, **options):
    with AudioFile(path) as file:
        blocks = list(file.blocks(channel, **options))
    return np.concatenate(blocks)


def test_sixteen_bit_files_of_other_writers_come_through_bit_exact(tmp_path):
    wavfile.write(tmp_path / "a.wav", RATE, NOISE)
    with wave.open(str(tmp_path / "b.wav"), "wb") as file:
        file.setparams((2, 2, RATE, 0, "NONE", ""))
        file.writeframes(NOISE.astype("<i2").tobytes())
    for name in ("a.wav", "b.wav"):
        for channel in (1, 2):
            np.testing.assert_array_equal(read(tmp_path / name, channel), NOISE[:, channel - 1])


@pytest.mark.parametrize(("suffix", "subtype"), [("flac", "PCM_16"), ("aiff", "PCM_16"), ("w64", "PCM_16")])
def test_lossless_files_come_through_bit_exact(tmp_path, suffix, subtype):
    path = tmp_path / f"x.{suffix}"
    soundfile.write(path, NOISE, RATE, subtype=subtype)
    np.testing.assert_array_equal(read(path, 2), NOISE[:, 1])


def test_the_header_is_known_before_anything_is_read(tmp_path):
    soundfile.write(tmp_path / "x.flac", NOISE, RATE)
    with AudioFile(tmp_path / "x.flac") as file:
        assert (file.rate_hz, file.frames, file.channels) == (RATE, 20_000, 2)


def test_float_files_are_rounded_and_what_is_beyond_full_scale_is_clipped_and_counted(tmp_path):
    values = np.array([0.0, 0.5, -1.0, 1.0, 1.5, -1.5, np.nan, np.inf, 0.4 / 32768, 0.6 / 32768])
    wavfile.write(tmp_path / "f.wav", RATE, values.astype(np.float32))
    with AudioFile(tmp_path / "f.wav") as file:
        (block,) = file.blocks()
        assert file.clipped == 3
    assert block.tolist() == [0, 16384, -32768, 32767, 32767, -32768, 0, 32767, 0, 1]


def test_twenty_four_bits_are_rounded_to_sixteen(tmp_path):
    codes = np.array([0, 127, 128, 129, -129, 2**23 - 1, -(2**23)], dtype=np.int64)
    soundfile.write(tmp_path / "x.wav", (codes << 8).astype(np.int32), RATE, subtype="PCM_24")
    assert read(tmp_path / "x.wav").tolist() == [0, 0, 0, 1, -1, 32767, -32768]


def test_a_compressed_file_keeps_its_length_and_nearly_its_waveform(tmp_path):
    tone = (12_000 * np.sin(2 * np.pi * 1000 * np.arange(RATE) / RATE)).astype(np.int16)
    soundfile.write(tmp_path / "x.ogg", tone, RATE, format="OGG", subtype="VORBIS")
    back = read(tmp_path / "x.ogg")
    assert len(back) == len(tone)
    assert np.sqrt(np.mean((back - tone.astype(float))[1000:-1000] ** 2)) < 600


def test_blocks_are_no_longer_than_asked_and_can_be_read_again(tmp_path):
    soundfile.write(tmp_path / "x.flac", NOISE, RATE)
    with AudioFile(tmp_path / "x.flac") as file:
        first = list(file.blocks(1, frames=777))
        assert max(map(len, first)) == 777
        np.testing.assert_array_equal(np.concatenate(first), np.concatenate(list(file.blocks(1))))


def test_a_channel_that_is_not_there_is_told(tmp_path):
    soundfile.write(tmp_path / "x.flac", NOISE, RATE)
    with AudioFile(tmp_path / "x.flac") as file:
        for channel in (0, 3, -1):
            with pytest.raises(BadInputError, match=f"has 2 channels; there is no channel {channel}"):
                next(file.blocks(channel))


@pytest.mark.parametrize(
    "content", [b"", b"hello", b"RIFF\x00\x00\x00\x00WAVE", b"\xff" * 5000, b"fLaC" + b"\0" * 99]
)
def test_what_is_not_audio_is_told(tmp_path, content):
    path = tmp_path / "x.wav"
    path.write_bytes(content)
    with pytest.raises(BadInputError, match=r"x\.wav") as caught:
        read(path)
    assert "\n" not in str(caught.value)


def test_a_missing_file_and_a_folder_are_told(tmp_path):
    with pytest.raises(BadInputError, match="does not exist"):
        AudioFile(tmp_path / "nowhere.wav")
    with pytest.raises(BadInputError, match="is not a file"):
        AudioFile(tmp_path)


@pytest.mark.parametrize("rate", [4_000, 500_000])
def test_a_rate_that_cannot_be_measured_is_told(tmp_path, rate):
    wavfile.write(tmp_path / "x.wav", rate, NOISE)
    with pytest.raises(BadInputError, match=f"sample rate of {rate} Hz"):
        AudioFile(tmp_path / "x.wav")


def test_a_file_without_samples_is_told(tmp_path):
    wavfile.write(tmp_path / "x.wav", RATE, NOISE[:0])
    with pytest.raises(BadInputError, match="holds no audio"):
        AudioFile(tmp_path / "x.wav")


def test_a_file_cut_off_in_the_middle_gives_what_is_there(tmp_path):
    path = tmp_path / "x.wav"
    wavfile.write(path, RATE, NOISE)
    path.write_bytes(path.read_bytes()[: 44 + 4 * 5_000])
    np.testing.assert_array_equal(read(path), NOISE[:5_000, 0])


def test_a_missing_libsndfile_is_explained_with_the_fix(tmp_path, monkeypatch):
    (tmp_path / "x.wav").write_bytes(b"")
    monkeypatch.setitem(sys.modules, "soundfile", None)
    with pytest.raises(BadInputError, match=r"libsndfile is missing .* install"):
        AudioFile(tmp_path / "x.wav")
