"""Papers: what people sign, file and carry, as PDF."""

from __future__ import annotations

from collections.abc import Callable

from loopwright.papers.record import circuit_and_power_record

PAPERS: dict[str, Callable[..., bytes]] = {"circuit-and-power-record": circuit_and_power_record}
"""Every paper by the name it is asked for; each takes the appraisal, ``revision`` and ``now``, and returns a PDF."""
