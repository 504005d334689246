"""Everything that must be proved of a job, in the order of the record."""

from __future__ import annotations

from collections.abc import Sequence

from loopwright.circuits.forecast import CircuitForecast
from loopwright.job.document import Job
from loopwright.power.forecast import PowerForecast
from loopwright.prove.devices import circuit_items, device_items
from loopwright.prove.item import Group, Item, Proof
from loopwright.prove.report import Expected, expected_events
from loopwright.prove.sounders import sounder_items
from loopwright.prove.supplies import supply_items, system_items


def to_prove(job: Job, circuits: Sequence[CircuitForecast], power: PowerForecast) -> tuple[Item, ...]:
    """Return everything that must be proved, computed from the job and its forecasts; it is worked out anew with every revision."""
    return (
        *device_items(job),
        *circuit_items(job, circuits),
        *supply_items(job, power),
        *sounder_items(job, power),
        *system_items(job),
        *(_signal(each) for each in expected_events(job) if each.sent),
    )


def _signal(event: Expected) -> Item:
    place = f"zone {event.number}, {event.text}" if event.number is not None else "the system"
    return Item(
        key=event.key, proof=Proof.SIGNAL, group=Group.SIGNALS, subject=f"zones/{event.zone}" if event.zone else "signalling",
        where=place, act=event.words, brief=event.words,
    )  # fmt: skip
