"""What must be proved of devices and of their circuits: only what applies to each."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from loopwright.circuits.forecast import ActForecast, CircuitForecast
from loopwright.explain.circuit.check import act_words
from loopwright.job.document import Job
from loopwright.job.sheet import Kind, Reads
from loopwright.netlist.loop import ActKind
from loopwright.power.forecast import label_of
from loopwright.prove.item import Group, Item, Proof, Target, key_of
from loopwright.prove.radio import is_radio

HOLD_UP = "Agree it with the receiving centre before you touch it, and tell the people here: while on test no help comes."
LADDER = "Off the floor: foot the ladder, three points of contact."
WATCHES = frozenset({Kind.DETECTOR, Kind.CONTACT, Kind.HOLD_UP})
USED = frozenset({Kind.KEYPAD, Kind.READER})
READ_ACTS = (ActKind.REST, ActKind.ACTIVATED, ActKind.LID_OPEN, ActKind.SHORTED, ActKind.CUT)


def contacts_in_use(job: Job, device: str) -> frozenset[str]:
    """Return the contacts of a device that stand in circuits."""
    hops = (hop for circuit in job.circuits.values() for hop in circuit.path if hop.device == device)
    return frozenset(contact for hop in hops for contact in hop.contacts if contact in job.sheet_of(device).contacts)


def zones_of(job: Job, device: str) -> tuple[str, ...]:
    """Return the zones a device reports by, in order: of two zones on one pair that of its part."""
    landed = {(name, hop.part) for name, circuit in job.circuits.items() for hop in circuit.path if hop.device == device}
    found = [name for name, zone in job.zones.items() if (zone.circuit, zone.part) in landed]
    return tuple(sorted(found, key=lambda name: job.zones[name].number))


def device_items(job: Job) -> Iterator[Item]:
    """Yield what must be proved of every device, in the order of the document. Life-safety devices are left to those licensed for them."""
    for name in job.equipment:
        kind = job.sheet_of(name).kind
        if kind in WATCHES:
            yield from _watching(job, name, kind)
        elif kind in USED:
            yield _of_device(job, name, Proof.USE, "Set and unset at it; what it shows can be read where people stand.")
        elif kind is not Kind.LIFE_SAFETY and "tamper" in contacts_in_use(job, name):
            yield from _lid(job, name)
        if kind in WATCHES | {Kind.SOUNDER, Kind.CONTROL, Kind.SUPPLY}:
            yield _of_device(job, name, Proof.PHOTO, f"A photograph of {label_of(job, name)} as fitted: its name or number.", wanted=False)
        if is_radio(job, name):
            yield _of_device(job, name, Proof.RADIO, "Identity as on the label, margin in place, check-in seen (below, under Radio).")


def _watching(job: Job, name: str, kind: Kind) -> Iterator[Item]:
    contacts, zones = contacts_in_use(job, name), zones_of(job, name)
    wired = "alarm" in contacts
    told = " and ".join(f"zone {job.zones[zone].number}" for zone in zones) or "no zone"
    caution = HOLD_UP if kind is Kind.HOLD_UP else ""
    if wired or is_radio(job, name):
        act = {Kind.DETECTOR: "Walk across it", Kind.CONTACT: "Open it", Kind.HOLD_UP: "Operate it"}[kind]
        yield _of_device(job, name, Proof.WALK, f"{act}: {told} should report.", caution=caution)
        yield _of_device(job, name, Proof.RESTORE, f"Let it come back: {told} should restore.")
    if kind is Kind.DETECTOR:
        yield _of_device(job, name, Proof.EDGE, "At the edge of what it must cover: is it seen?")
        yield _of_device(job, name, Proof.BEYOND, "Beyond that edge, where people or traffic may be: is anything seen?", right="no")
    if "tamper" in contacts:
        yield from _lid(job, name)
    if "fault" in contacts and kind is Kind.DETECTOR:
        yield _of_device(job, name, Proof.MASK, "Cover it, as its own instructions say: the mask or fault should report.")
    if zones:
        texts = "; ".join(f"“{job.zones[zone].text}”" for zone in zones)
        yield _of_device(job, name, Proof.LABEL, f"The keypad's text names this place: {texts}.")


def _lid(job: Job, name: str) -> Iterator[Item]:
    yield _of_device(job, name, Proof.TAMPER, "Open its lid: a tamper should report.", caution=LADDER if _high(job, name) else "")
    yield _of_device(job, name, Proof.LID_SHUT, "Shut its lid: the tamper should restore.")


def _high(job: Job, name: str) -> bool:
    return job.sheet_of(name).kind in (Kind.SOUNDER, Kind.STROBE)


def _of_device(job: Job, name: str, proof: Proof, act: str, *, wanted: bool = True, right: str = "yes", caution: str = "") -> Item:
    return Item(
        key=key_of(proof, name), proof=proof, group=Group.DEVICES, subject=f"equipment/{name}", where=label_of(job, name), act=act,
        wanted=wanted, right=right, caution=caution,
    )  # fmt: skip


def circuit_items(job: Job, circuits: Sequence[CircuitForecast]) -> Iterator[Item]:
    """Yield the five readings of every circuit, by the forecast: at rest, and of each device activated, lid open, shorted, wire lifted."""
    for item in circuits:
        zones = ", ".join(zone.text for zone in job.zones.values() if zone.circuit == item.circuit)
        devices = list(dict.fromkeys(act.act.device for act in item.acts))
        order = {kind: at for at, kind in enumerate(READ_ACTS)}
        acts = [act for act in item.acts if act.act.kind in order]
        for act in sorted(acts, key=lambda each: (devices.index(each.act.device), order[each.act.kind])):
            yield _reading(job, item, act, zones)


def _reading(job: Job, item: CircuitForecast, act: ActForecast, zones: str) -> Item:
    done, device = act.act.kind, act.act.device or ""
    words = act_words(job, done, device)
    lifted = done is ActKind.CUT
    key = key_of(Proof.LIFT, item.circuit, device) if lifted else key_of(Proof.OHM, item.circuit, str(done), device)
    notices = item.bands is None or act.taken_for is not Reads.REST
    return Item(
        key=key,
        proof=Proof.LIFT if lifted else Proof.OHM,
        group=Group.CIRCUITS,
        subject=f"circuits/{item.circuit}",
        where=f"{item.circuit}{f', {zones}' if zones else ''}",
        act=f"{words[0].upper()}{words[1:]}: does the unit change state?" if lifted else f"Ohms, both wires out, {words}",
        unit="" if lifted else "Ω",
        right="yes" if notices else "no",
        brief=words.replace(f" ({device})", ""),
        target=None if lifted else _ohm_target(act),
    )


def _ohm_target(act: ActForecast) -> Target:
    """Return the corners of the parts' tolerances; what the meter adds comes with the reading."""
    words = "over range" if math.isinf(act.field_ohm) else "the parts' tolerances"
    return Target(value=act.field_ohm, low=act.low_ohm, high=act.high_ohm, unit="Ω", words=words)
