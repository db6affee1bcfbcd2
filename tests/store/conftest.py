from __future__ import annotations

import pytest

from telltick.store.journal import Journal
from tests.store.scene import FACTS


@pytest.fixture
def folder(tmp_path):
    """An empty session folder."""
    place = tmp_path / "session"
    place.mkdir(mode=0o700)
    return place


@pytest.fixture
def journal(folder):
    """The journal of a new session in `folder`."""
    with Journal.create(folder, FACTS) as one:
        yield one
