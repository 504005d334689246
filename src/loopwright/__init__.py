"""Loopwright: one model of an intruder-alarm system, and everything that should be seen from it."""

__version__ = "0.1.0"
