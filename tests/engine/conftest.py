"""What tests of following a session begin with."""

from __future__ import annotations

import pytest

from telltick.store.segments import AudioReader, Samples


@pytest.fixture
def samples_read(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many samples each read of audio asked for."""
    counts: list[int] = []
    real = AudioReader.read

    def counted(self: AudioReader, first: int, count: int) -> Samples:
        counts.append(count)
        return real(self, first, count)

    monkeypatch.setattr(AudioReader, "read", counted)
    return counts
