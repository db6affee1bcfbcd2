"""Recorder process, live analysis, replay: the only place with threads and processes of its own."""
