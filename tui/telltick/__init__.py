"""Telltick: measures receiver interference made by serial polling, live in a terminal."""

__version__ = "0.1.0"
