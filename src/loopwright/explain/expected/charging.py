"""How long a flat battery takes: what stands beside the answer that it only has to be charged."""

from __future__ import annotations

import math
from collections.abc import Sequence

from loopwright.explain.circuit.check import label
from loopwright.explain.expected.power import FLAT, HOUR_S, recovery_s
from loopwright.job.document import Job
from loopwright.power.standby import StandbyForecast

RECOVERING = "P12"
"""The fault that is none: a battery that is still being charged."""


def charging_words(job: Job, standby: Sequence[StandbyForecast], fault: str, place: str) -> tuple[str, ...]:
    """Return the hours a flat battery needs, for the fault of one that recovers at a supply; of every supply where ``place`` names none."""
    if fault != RECOVERING:
        return ()
    supplies = {item.supply for item in standby}
    meant = [item for item in standby if place not in supplies or item.supply == place]
    return tuple(_words(job, item) for item in meant)


def _words(job: Job, item: StandbyForecast) -> str:
    supply = job.sheet_of(item.supply).supply
    assert supply is not None
    restore_v = supply.restore_v if supply.restore_v is not None else supply.low_battery_v
    named = f"From flat, the battery of {label(job, item.supply)}"
    if restore_v is None:
        return f"{named} takes about {item.recharge.to_80_pct_h:.0f} h to 80 % of its charge."
    shortest_s, longest_s = recovery_s(item, FLAT, restore_v)
    if math.isinf(shortest_s):
        return f"{named} does not come back by waiting: nothing here charges it."
    return (
        f"{named} charges for about {shortest_s / HOUR_S:.0f} h until its trouble clears at {restore_v:g} V; "
        f"after {longest_s / HOUR_S:.0f} h at the latest it should be gone."
    )
