"""What of the whole is looked into: the faults, zones, devices and words that something was seen of.

The whole is everything the network has no element for: what detectors truly see, users, programming, signalling, radio, the clock. A fault
comes in when a word it speaks of was asked, its look was done, or a circuit was read that may truly be at work.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from loopwright.explain.catalogue import WHOLE, Fault, faults
from loopwright.explain.check import Check, CheckKind
from loopwright.explain.hypothesis import Part
from loopwright.explain.weigh.likelihood import Seen, kinds_of
from loopwright.explain.whole.word import words
from loopwright.job.document import Job
from loopwright.job.sheet import Kind
from loopwright.netlist.loop import ActKind

PART = "system"
OPERATED = "operated"


@dataclass(frozen=True, kw_only=True, slots=True)
class Scope:
    """The ``faults`` of the whole looked into, the ``circuits`` whose devices may truly be operated, the ``zones``, radio devices and
    ``said`` words that were seen of, and ``other`` faults that speak of those words though their own part is not looked into."""

    faults: tuple[str, ...]
    circuits: tuple[str, ...]
    zones: tuple[str, ...]
    radio: tuple[str, ...]
    said: frozenset[str]
    other: tuple[str, ...]


def zones_seen(checks: Iterable[Check]) -> tuple[str, ...]:
    """Return the zones that a word was asked of, in order."""
    asked = (check for check in checks if check.kind is CheckKind.TOLD and words()[check.scenario].at == "zone")
    return tuple(dict.fromkeys(check.place for check in asked if check.place))


def circuits_behind(job: Job, zones: Iterable[str]) -> tuple[str, ...]:
    """Return the circuits behind zones."""
    found = (job.zones[zone].circuit for zone in zones if zone in job.zones)
    return tuple(dict.fromkeys(name for name in found if name is not None))


def scope_of(job: Job, seen: Iterable[Check], circuits: tuple[str, ...], elsewhere: frozenset[str]) -> Scope | None:
    """Return what of the whole is looked into; None when nothing of it was seen.

    ``circuits`` are those looked into as parts, ``elsewhere`` the groups of faults that have a part of their own there.
    """
    checks = list(seen)
    said = frozenset(check.scenario for check in checks if check.kind is CheckKind.TOLD)
    looked = {check.fault for check in checks if check.kind is CheckKind.LOOK and check.where == PART}
    sensing = tuple(name for name in circuits if sensing_devices(job, name))
    meant = {
        fault.id: fault.group
        for fault in faults().values()
        if fault.id in looked or (said & set(speaks_of(fault))) or (sensing and fault.reads == OPERATED)
    }
    own = tuple(name for name, group in meant.items() if group in WHOLE)
    other = tuple(name for name, group in meant.items() if group not in WHOLE and (name in looked or group not in elsewhere))
    if not own and not other:
        return None
    radio = dict.fromkeys(check.place for check in checks if check.kind is CheckKind.TOLD and words()[check.scenario].at == "radio")
    return Scope(
        faults=own,
        circuits=sensing,
        zones=zones_seen(checks),
        radio=tuple(name for name in radio if name),
        said=said,
        other=other,
    )


def at_work(part: Part, seen: Iterable[Seen]) -> bool:
    """Return whether something read of a circuit at rest fits a device truly at work better than a circuit that is sound."""
    columns = {check: number for number, check in enumerate(part.predicted.checks)} if part.operated else {}
    rows = list(part.operated.values())
    for reading in (
        each for each in seen if each.check in columns and each.check.act is ActKind.REST and each.check.kind is not CheckKind.LOOK
    ):
        chance = np.sum(list(kinds_of(part, columns[reading.check], reading).values()), axis=0)
        if chance[rows].max() > chance[0]:
            return True
    return False


def speaks_of(fault: Fault) -> tuple[str, ...]:
    """Return the words a fault speaks of: those it says, and the keypad's for the steps of the work it undoes."""
    return (*fault.says, *(UNDONE[edit[1]] for way in fault.ways for edit in way if edit[0] == "undo"))


UNDONE = {"clock": "clock", "paths": "path", "codes": "codes", "memory": "memory", "service": "service", "reports": "report"}
"""The keypad's word for each step that a fault may undo."""


def sensing_devices(job: Job, circuit: str) -> tuple[str, ...]:
    """Return the devices of a circuit whose alarm contact stands in it, hold-up devices left out."""
    hops = [hop for hop in job.circuits[circuit].path if hop.device is not None and "alarm" in hop.contacts]
    return tuple(hop.device for hop in hops if hop.device is not None and job.sheet_of(hop.device).kind in (Kind.DETECTOR, Kind.CONTACT))
