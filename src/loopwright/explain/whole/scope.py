"""What of the whole is looked into. It follows from what is looked into and what was asked, never from what was answered.

The whole is everything the network has no element for: what detectors truly see, users, programming, signalling, radio, the clock. It comes
in by steps, each at once and with every word it speaks of, so that the next word of it moves no prior: what detectors see with their
circuit, a zone's programming with a word that only it speaks of, the rest with a word of the premises.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

from loopwright.explain.catalogue import WHOLE, Fault, faults, of_group
from loopwright.explain.check import Check, CheckKind
from loopwright.explain.whole.word import HISTORY, words
from loopwright.job.document import Job
from loopwright.job.sheet import Kind

PART = "system"
OPERATED = "operated"
"""What a fault reads as that makes a detector truly see something."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Scope:
    """The ``faults`` of the whole looked into, beside the ``circuits`` looked into; the ``zones`` and ``radio`` devices words are asked of.

    ``asks`` are the words of it; ``premises`` tells that all of the whole is looked into, ``loose`` that a zone's word was asked without
    its zone. ``other`` are faults of parts that are not looked into, or not all of them, ``beside`` the groups some of whose parts are.
    """

    faults: tuple[str, ...]
    asks: tuple[str, ...]
    circuits: tuple[str, ...]
    zones: tuple[str, ...]
    radio: tuple[str, ...] = ()
    premises: bool = False
    loose: bool = False
    other: tuple[str, ...] = ()
    beside: frozenset[str] = frozenset()


def zones_seen(checks: Iterable[Check]) -> tuple[str, ...]:
    """Return the zones that a word was asked of, or a look done at, in order."""
    found = (check.place for check in checks if check.place and (_of_zone(check) or _own_look(check)))
    return tuple(dict.fromkeys(found))


def circuits_behind(job: Job, checks: Iterable[Check]) -> tuple[str, ...]:
    """Return the circuits behind the zones and devices that something of the whole was asked of."""
    found = []
    for place in zones_seen(checks):
        if place in job.zones:
            found.append(job.zones[place].circuit)
        elif place in job.circuits:
            found.append(place)
        else:
            found += [name for name, circuit in job.circuits.items() if any(hop.device == place for hop in circuit.path)]
    return tuple(dict.fromkeys(name for name in found if name is not None))


def scope_of(job: Job, seen: Iterable[Check], circuits: tuple[str, ...], every: frozenset[str], some: frozenset[str]) -> Scope | None:
    """Return what of the whole is looked into; None when nothing of it is.

    ``circuits`` are those looked into as parts; ``every`` are the groups of faults all of whose parts are, ``some`` those of which any is.
    """
    checks = list(seen)
    asked = zones_seen(checks)
    zones = tuple(name for name, zone in job.zones.items() if zone.circuit in circuits or name in asked)
    told = [check for check in checks if check.kind is CheckKind.TOLD and not of_history(check)]
    loose = any(_of_zone(check) and not check.place for check in told)
    looked = {check.fault for check in checks if _own_look(check)}
    heard = {check.scenario for check in told}
    sensing = any(sensing_devices(job, name) for name in circuits)
    step = next((n for n, each in enumerate(STEPS_IN) if looked <= set(of_step(n)) and heard <= set(asks_of(n))), len(STEPS_IN))
    if loose or (looked and not zones):
        step = len(STEPS_IN)
    if not (sensing or told or looked):
        return None
    premises = step == len(STEPS_IN)
    radio = dict.fromkeys(check.place for check in told if words()[check.scenario].at == "radio" and check.place)
    return Scope(
        faults=of_step(step),
        asks=asks_of(step),
        circuits=circuits,
        zones=zones,
        radio=tuple(radio),
        premises=premises,
        loose=loose,
        other=tuple(f.id for f in faults().values() if f.group not in every and f.group not in WHOLE and speaks_of(f)) if premises else (),
        beside=some if premises else frozenset(),
    )


STEPS_IN = (("detector", "contact", "sensing"), ("detector", "contact", "sensing", "zone"))
"""The places that come in step by step; then all do."""


@cache
def of_step(step: int) -> tuple[str, ...]:
    """Return the faults of the whole that are looked into at a step."""
    own = (fault for group in WHOLE for fault in of_group(group))
    return tuple(fault.id for fault in own if step == len(STEPS_IN) or fault.at in STEPS_IN[step])


@cache
def asks_of(step: int) -> tuple[str, ...]:
    """Return the words of a step: those of a zone that its faults speak of, or all of them."""
    spoken = {word for name in of_step(step) for word in speaks_of(faults()[name])}
    every = (word for word in words().values() if word.at != HISTORY)
    return tuple(word.id for word in every if step == len(STEPS_IN) or (word.at == "zone" and word.id in spoken))


def _of_zone(check: Check) -> bool:
    return check.kind is CheckKind.TOLD and words()[check.scenario].at == "zone"


def of_history(check: Check) -> bool:
    """Return whether a check asks since when it is wrong: a word of whatever is looked into, that brings nothing in by itself."""
    return check.kind is CheckKind.TOLD and words()[check.scenario].at == HISTORY


def _own_look(check: Check) -> bool:
    return check.kind is CheckKind.LOOK and check.where == PART


def speaks_of(fault: Fault) -> tuple[str, ...]:
    """Return the words a fault speaks of: those it says, and the keypad's for the steps of the work it undoes."""
    return (*fault.says, *(UNDONE[edit[1]] for way in fault.ways for edit in way if edit[0] == "undo"))


UNDONE = {"clock": "clock", "paths": "path", "codes": "codes", "memory": "memory", "service": "service", "reports": "report"}
"""The keypad's word for each step that a fault may undo."""


def sensing_devices(job: Job, circuit: str) -> tuple[str, ...]:
    """Return the devices of a circuit whose alarm contact stands in it, hold-up devices left out."""
    hops = [hop for hop in job.circuits[circuit].path if hop.device is not None and "alarm" in hop.contacts]
    return tuple(hop.device for hop in hops if hop.device is not None and job.sheet_of(hop.device).kind in (Kind.DETECTOR, Kind.CONTACT))
