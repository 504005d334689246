"""The checks of a detection circuit: where a meter can be put, in which act, and what it costs."""

from __future__ import annotations

from loopwright.explain.check import Check, CheckKind
from loopwright.explain.circuit.place import CircuitPlaces
from loopwright.explain.look import LADDER_MINUTES
from loopwright.job.document import Job
from loopwright.job.sheet import Kind
from loopwright.netlist.loop import ActKind, LoopNetwork

ACT_MINUTES = {
    ActKind.REST: 0.0,
    ActKind.ACTIVATED: 1.0,
    ActKind.LID_OPEN: 1.5,
    ActKind.FAULT: 2.0,
    ActKind.SHORTED: 3.5,
    ActKind.CUT: 3.0,
    ActKind.ALL_ACTIVATED: 2.0,
    ActKind.LIFTED: 3.5,
}
"""Minutes an act costs on top of reading: walk to the device, open it, come back or call out (judgement)."""
KIND_MINUTES = {
    CheckKind.STATE: 0.5,
    CheckKind.VOLTS: 2.0,
    CheckKind.OHM: 3.0,
    CheckKind.CORES_OHM: 3.5,
    CheckKind.CONTACT_OHM: 5.0,
    CheckKind.CAPACITANCE: 4.0,
}
"""Minutes of the reading itself: the keypad in reach; a lid and a meter; two wires out and in again (judgement)."""
NEEDS = {
    CheckKind.VOLTS: ("meter", "control unit's lid"),
    CheckKind.OHM: ("meter", "control unit's lid"),
    CheckKind.CORES_OHM: ("meter", "control unit's lid"),
    CheckKind.CONTACT_OHM: ("meter", "device's lid"),
    CheckKind.CAPACITANCE: ("meter that reads capacitance", "control unit's lid"),
}
ACT_NEEDS = {
    ActKind.LID_OPEN: ("device's lid",),
    ActKind.SHORTED: ("device's lid", "wire link"),
    ActKind.CUT: ("device's lid",),
    ActKind.LIFTED: ("device's lid",),
    ActKind.FAULT: ("device's lid",),
}
AT_HEIGHT = (Kind.DETECTOR, Kind.SOUNDER)
"""What hangs out of reach, so that its lid is opened from a ladder (common practice, no source)."""
STATES = ("rest", "active", "tamper", "fault")
"""What a keypad says of a circuit, in the words of this program."""


def circuit_checks(job: Job, places: CircuitPlaces, network: LoopNetwork, has_bands: bool) -> tuple[Check, ...]:  # noqa: FBT001
    """Return every check of a circuit; without bands nobody can say what the keypad shows."""
    out = []
    for act in network.acts:
        kinds = [CheckKind.OHM, CheckKind.VOLTS, *([CheckKind.STATE] if has_bands else [])]
        if act.kind is ActKind.REST or act.kind is ActKind.ACTIVATED:
            kinds.append(CheckKind.CORES_OHM)
        for kind in kinds:
            out.append(_check(places, network, kind, act.kind, act.device or ""))
    out.append(_check(places, network, CheckKind.CAPACITANCE, ActKind.REST, ""))
    for device in _contact_devices(places):
        for done in (ActKind.REST, ActKind.ACTIVATED):
            out.append(_check(places, network, CheckKind.CONTACT_OHM, done, device))
    return tuple(out)


def _contact_devices(places: CircuitPlaces) -> list[str]:
    return [hop.device for hop in places.circuit.path if hop.device is not None and "alarm" in hop.contacts]


def _check(places: CircuitPlaces, network: LoopNetwork, kind: CheckKind, act: ActKind, device: str) -> Check:
    opened = kind is CheckKind.CONTACT_OHM or act in ACT_NEEDS
    climbed = opened and at_height(places.job, device)
    return Check(
        kind=kind,
        where=places.name,
        act=act,
        device=device,
        minutes=KIND_MINUTES[kind] + ACT_MINUTES[act] + (LADDER_MINUTES if climbed else 0.0),
        needs=tuple(dict.fromkeys((*NEEDS.get(kind, ()), *ACT_NEEDS.get(act, ()), *(("ladder",) if climbed else ())))),
        words=_words(places, kind, act, device),
        outcomes=STATES if kind is CheckKind.STATE else (),
        pull_ohm=network.pull_up.ohm if kind is CheckKind.OHM else float("inf"),
        by="ladder" if climbed else "caller" if kind is CheckKind.STATE and not opened else "lid",
    )


def at_height(job: Job, device: str) -> bool:
    """Return whether a device's lid is opened from a ladder."""
    return device in job.equipment and job.sheet_of(device).kind in AT_HEIGHT


def _words(places: CircuitPlaces, kind: CheckKind, act: ActKind, device: str) -> str:
    lead = {
        CheckKind.OHM: f"Ohms of circuit {places.name}, both wires out at the control unit",
        CheckKind.CORES_OHM: f"Ohms of circuit {places.name}'s field cores alone, parted from whatever stands in the cabinet",
        CheckKind.CAPACITANCE: f"Capacitance between circuit {places.name}'s field cores, both out of their terminals",
        CheckKind.VOLTS: f"Volts at the terminals of circuit {places.name}, wires in place",
        CheckKind.STATE: f"What the keypad shows for circuit {places.name}",
        CheckKind.CONTACT_OHM: f"Ohms across the alarm contact of {label(places.job, device)}, its wires out",
    }[kind]
    return f"{lead}, {act_words(places.job, act, device)}"


def act_words(job: Job, act: ActKind, device: str) -> str:
    """Return an act in words."""
    named = label(job, device)
    return {
        ActKind.REST: "at rest",
        ActKind.ACTIVATED: f"{named} operated",
        ActKind.LID_OPEN: f"lid of {named} open",
        ActKind.FAULT: f"{named} showing its fault",
        ActKind.SHORTED: f"pair shorted at {named}",
        ActKind.CUT: f"a wire lifted before {named}",
        ActKind.ALL_ACTIVATED: "all devices operated together",
        ActKind.NO_RESISTOR: "end resistor taken out",
        ActKind.LIFTED: f"pair lifted at {named}",
    }[act]


def label(job: Job, equipment: str) -> str:
    """Return what people call a piece of equipment, and its name in the document."""
    item = job.equipment.get(equipment)
    return f"{item.label} ({equipment})" if item is not None and item.label else equipment
