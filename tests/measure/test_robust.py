"""Statistics that are worked out at every look."""

from __future__ import annotations

import numpy as np
import pytest

from telltick.measure.robust import median, quantile


@pytest.mark.parametrize("count", [1, 2, 3, 10, 11, 150])
def test_quantiles_and_medians_are_those_of_numpy(count):
    values = np.random.default_rng(count).normal(size=count)
    assert median(values) == np.median(values)
    for share in (0.0, 0.1, 0.25, 0.5, 0.9, 1.0):
        assert quantile(values, share) == pytest.approx(np.quantile(values, share), rel=1e-14)
