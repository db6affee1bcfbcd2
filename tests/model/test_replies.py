"""What is said of the radio's replies."""

from __future__ import annotations

import pytest

from telltick.model.replies import Replies


@pytest.mark.parametrize(
    ("counted", "words"),
    [
        (
            Replies(83, 83, median_ms=5.04, p95_ms=6.2),
            "83 of 83 polls, 5.0 ms after the request (95 % within 6.2 ms)",
        ),
        (
            Replies(83, 80, timeouts=1, errors=2, late=3, garbage=4, median_ms=5.0, p95_ms=6.0),
            "80 of 83 polls, 5.0 ms after the request (95 % within 6.0 ms), 1 timeout, 2 failed on the port, "
            "3 late, 4 garbage",
        ),
        (Replies(12, 0, timeouts=12), "0 of 12 polls, 12 timeouts"),
        (Replies(12, 12, echo=True), "12 of 12 requests sent, no reply is waited for; the cable echoes"),
    ],
)
def test_what_went_wrong_is_said_after_what_went_well_and_nothing_else(counted, words):
    assert counted.words == words
