"""A simulated bench: a radio that answers on a serial line, and a receiver that hears the line."""

from telltick.sources.bench.simulated import SimulatedBench

__all__ = ["SimulatedBench"]
