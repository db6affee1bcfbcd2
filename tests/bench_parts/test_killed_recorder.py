"""kill -9 at random moments: what was recorded opens, says that it crashed, and measures the same."""

from __future__ import annotations

import numpy as np
import pytest

from telltick.cli import main
from tests.bench_parts.killed import kill_recorder

pytestmark = pytest.mark.bench_part

MOMENTS_S = np.random.default_rng(31).uniform(0.3, 7.0, 3).round(3).tolist()


@pytest.mark.parametrize("after_s", MOMENTS_S)
def test_a_recorder_killed_at_any_moment_leaves_a_session_that_opens_and_measures_the_same(
    tmp_path, after_s, capsys
):
    killed = kill_recorder(tmp_path / "s", after_s, seed=7)
    assert killed.seen_kept
    assert killed.crash_told
    assert killed.measures_the_same
    # A block is 20 ms; the rest is what a busy machine needs to get round to it.
    assert killed.lost_ms < 1000
    assert any("killed" in warning for warning in killed.found["warnings"])
    assert main(["check", str(tmp_path / "s")]) == 0
    assert "crashed or was killed" in capsys.readouterr().out
