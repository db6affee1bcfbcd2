"""The gate of some stretches is that of the whole session there, whatever is left out between them."""

from __future__ import annotations

import numpy as np
import pytest

from telltick.engine import gates
from telltick.engine.gates import gate_near, gate_of, poll_rhythm, poll_starts
from telltick.engine.spans import Span
from telltick.store.session import SessionReader
from tests.engine.sessions import rendered, write_rendered

SECONDS = 48.0


@pytest.fixture(scope="module")
def reader(tmp_path_factory):
    folder = write_rendered(tmp_path_factory.mktemp("gates") / "s", rendered(4, SECONDS))
    with SessionReader(folder) as opened:
        yield opened


@pytest.mark.parametrize(
    "spans", [[Span(0.0, 2.0)], [Span(1.0, 5.0), Span(5.0, 9.0)], [Span(1.0, 5.0), Span(30.0, 31.0)]]
)
def test_each_burst_in_a_stretch_is_there_once_and_polls_stay_whole(reader, spans):
    whole, some = gate_near(reader, 0.0, SECONDS), gate_of(reader, spans)
    for span in spans:
        expected, found = (gate.between(span.start_s, span.end_s) for gate in (whole, some))
        assert found.polls > 3
        for name in ("start_s", "end_s", "rx", "poll"):
            np.testing.assert_array_equal(getattr(found, name), getattr(expected, name))
    assert len(some.start_s) < len(whole.start_s)


def test_polls_read_piece_by_piece_start_when_they_start(reader, monkeypatch):
    monkeypatch.setattr(gates, "PIECE_S", 7.3)
    whole = gate_near(reader, 0.0, SECONDS)
    np.testing.assert_array_equal(poll_starts(reader, Span(0.0, SECONDS)), whole.poll_start_s)
    rhythm = poll_rhythm(reader, SECONDS)
    np.testing.assert_array_equal(rhythm.interval_s, whole.rhythm.interval_s)
    assert rhythm.polls == whole.polls
    assert rhythm.on_s == pytest.approx(whole.rhythm.on_s)
    monkeypatch.setattr(gates, "MOST_EXACT", 50)
    short = poll_rhythm(reader, SECONDS)
    assert short.interval_s.dtype == np.float32
    np.testing.assert_allclose(short.interval_s, rhythm.interval_s, atol=2e-8)
