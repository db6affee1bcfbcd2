"""Steps in words."""

import pytest

from telltick.measure.wording import step_words


@pytest.mark.parametrize(
    ("steps", "words"),
    [
        ((), "no step"), ((1,), "step 2"), ((0, 1), "steps 1 and 2"), ((0, 2, 4), "steps 1, 3 and 5"),
        ((4, 0, 1, 2, 3), "steps 1 to 5"), ((0, 2, 4, 6, 18), "steps 1, 3, 5 ... 19"),
    ],
)  # fmt: skip
def test_steps_are_named_as_a_reader_counts_them(steps, words):
    assert step_words(steps) == words
