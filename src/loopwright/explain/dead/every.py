"""Every dead check of a job, in the order in which to make them."""

from __future__ import annotations

from collections.abc import Sequence

from loopwright.circuits.forecast import CircuitForecast
from loopwright.explain.dead.bus import bus_checks
from loopwright.explain.dead.check import DeadCheck, circuit_checks, output_checks, supply_checks
from loopwright.job.document import Job
from loopwright.netlist.compile import PowerNetwork


def dead_checks(job: Job, network: PowerNetwork, circuits: Sequence[CircuitForecast]) -> tuple[DeadCheck, ...]:
    """Return the dead checks of every supply, data bus, output with a cable, and landed circuit."""
    return (*supply_checks(job), *bus_checks(job), *output_checks(job, network), *circuit_checks(job, circuits))
