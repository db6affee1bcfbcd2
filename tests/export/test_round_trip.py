"""What is exported can be imported again: tables that people exchange keep their meaning."""

from __future__ import annotations

import numpy as np

from telltick.export.csv_out import bursts_csv
from telltick.model.clock import Anchor, AudioClock
from telltick.model.traffic import gate_from_bursts
from telltick.sources.tables import read_bursts_csv
from tests.export.scene import RATE, session


def test_bursts_exported_and_imported_open_the_same_gate(tmp_path):
    one = session()
    path = tmp_path / "bursts.csv"
    path.write_text(bursts_csv(one), newline="")
    imported = AudioClock(RATE, [Anchor(0, 0, 0, 0)], one.samples)  # an import has no gaps
    before, after = gate_from_bursts(one.bursts, one.clock), gate_from_bursts(read_bursts_csv(path), imported)
    np.testing.assert_allclose(after.start_s, before.start_s, atol=1e-9)
    np.testing.assert_allclose(after.end_s, before.end_s, atol=1e-9)
    np.testing.assert_array_equal(after.poll, before.poll)
    assert after.data == before.data
