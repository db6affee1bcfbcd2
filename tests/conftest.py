"""For every test: random draws repeat, and a busy machine fails nothing."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("telltick", derandomize=True, deadline=None, database=None)
settings.load_profile("telltick")
