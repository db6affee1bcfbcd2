"""A file played into a recorder at its own pace."""

from __future__ import annotations

import threading

import numpy as np
import pytest
import soundfile

from telltick.model.errors import BadInputError
from telltick.sources.paced_file import PacedFile


@pytest.fixture
def noise(tmp_path):
    samples = np.random.default_rng(1).integers(-9000, 9000, 2400, dtype=np.int16)
    path = tmp_path / "noise.wav"
    soundfile.write(path, samples, 8000, subtype="PCM_16")
    return path, samples


def test_every_sample_arrives_once_and_then_the_source_is_over(noise):
    path, samples = noise
    source, heard, enough = PacedFile(path), [], threading.Event()

    def sink(block):
        heard.append(block.samples)
        if sum(map(len, heard)) >= len(samples):
            enough.set()

    source.start(sink)
    assert enough.wait(10)
    source.stop()
    assert np.array_equal(np.concatenate(heard), samples)
    assert source.over
    assert source.problem() is None


def test_a_channel_that_is_not_there_is_refused_before_anything_plays(noise):
    with pytest.raises(BadInputError, match="there is no channel 3"):
        PacedFile(noise[0], channel=3)
