"""Checks on the programme: zones, areas, users and reports, and cells of their tables that nobody filled in."""

from __future__ import annotations

from loopwright.job.document import Area, Job, Stage, YesNoUnknown, Zone
from loopwright.job.sheet import Kind, Topology
from loopwright.power.forecast import label_of
from loopwright.programme.event import ALWAYS, risen
from loopwright.rules.facts import Facts
from loopwright.rules.worked import due, some
from loopwright.values.finding import Finding, Severity


def check_zones(facts: Facts) -> list[Finding]:
    """Every zone has a circuit behind it and lies in an area; every landed circuit has a zone."""
    job, found = facts.job, []
    behind: dict[str, set[str]] = {}
    for name, zone in job.zones.items():
        words = f"Zone {zone.number} ({zone.text})"
        if zone.circuit is None:
            found.append(_gap("zone-without-circuit", f"zones/{name}/circuit", f"{words} has no circuit behind it.", "Enter its circuit."))
        else:
            behind.setdefault(zone.circuit, set()).add(zone.part)
        if not zone.areas and job.areas:
            found.append(
                Finding(
                    code="zone-in-no-area",
                    severity=due(job, Stage.PROGRAMMED, Severity.MUST),
                    subject=f"zones/{name}/areas",
                    sentence=f"{words} lies in no area, so nobody ever sets it.",
                    remedy="Enter the areas it lies in.",
                    source="job-document",
                )
            )
    for name, circuit in job.circuits.items():
        wanted = {"a", "b"} if circuit.topology is Topology.PAIR else {"a"}
        missing = sorted(wanted - behind.get(name, set()))
        if circuit.input is None or not missing or (len(wanted) == 1 and behind.get(name)):
            continue
        part = f", part {missing[0]}," if len(wanted) == 2 else ""
        found.append(
            Finding(
                code="circuit-without-zone",
                severity=due(job, Stage.PROGRAMMED, Severity.SHOULD),
                subject=f"circuits/{name}",
                sentence=f"Circuit {name}{part} lands on {circuit.input} but no zone stands for it.",
                remedy="Enter its zone, or close the input in the programme.",
                source="practice",
            )
        )
    return found


def _gap(code: str, subject: str, sentence: str, remedy: str) -> Finding:
    return Finding(code=code, severity=Severity.GAP, subject=subject, sentence=sentence, remedy=remedy, source="job-document")


def check_responses(facts: Facts) -> list[Finding]:
    """Every zone says what it does in every set state."""
    states = ("unset", "full", *facts.job.programme.part_sets)
    empty = [(zone, state) for zone in facts.job.zones.values() for state in states if state not in zone.response]
    if not empty:
        return []
    words = some([f"zone {zone.number} {state}" for zone, state in empty])
    says = "says" if len(empty) == 1 else "say"
    return [
        _gap(
            "response-cells-empty",
            "zones",
            f"{len(empty)} of {len(states) * len(facts.job.zones)} cells {says} nothing of what a zone does in a set state: {words}.",
            "Fill in every cell; a zone that does nothing is written as ignored.",
        )
    ]


def check_areas(facts: Facts) -> list[Finding]:
    """Every area has a zone in it, and every area is some user's."""
    job, found = facts.job, []
    used = {area for zone in job.zones.values() for area in zone.areas}
    bare = [area.name for name, area in job.areas.items() if name not in used]
    if bare and job.zones:
        words = f"{some(bare)} {'has' if len(bare) == 1 else 'have'} no zone."
        found.append(_gap("area-cells-empty", "areas", words, "Enter which zones lie in it, or take the area out."))
    cells = [(user, area) for user in job.users.values() for area in job.areas if area not in user.areas]
    if cells:
        words = some([f"{user.role} in {job.areas[area].name}" for user, area in cells])
        total = len(job.users) * len(job.areas)
        text = f"{len(cells)} of {total} cells {'says' if len(cells) == 1 else 'say'} nothing of what a user may do in an area: {words}."
        found.append(_gap("user-cells-empty", "users", text, "Enter set, unset, both or none for every user in every area."))
    return found


def check_reports(facts: Facts) -> list[Finding]:
    """Every event is reported, kept local, or neither, on purpose."""
    signalling = facts.job.signalling
    if not signalling.paths and signalling.centre is None:
        return []
    missing = [event for event in (*ALWAYS, *risen(facts.job)) if event not in signalling.reports]
    if not missing:
        return []
    words = f"Nobody has said whether {some(missing, len(missing))} {'is' if len(missing) == 1 else 'are'} reported."
    return [_gap("report-cells-empty", "signalling/reports", words, "Enter yes, no or local for each.")]


def check_common_areas(facts: Facts) -> list[Finding]:
    """A detector that stands in a shared area's room lies in that area, not in one of those that share it."""
    job, found = facts.job, []
    for common_id, common in job.areas.items():
        if len(common.common_to) < 2:
            continue
        rooms = _rooms_of(job, common_id, common)
        for name, zone in job.zones.items():
            lies = [area for area in zone.areas if area in common.common_to]
            if common_id in zone.areas or not lies or len(lies) == len(common.common_to):
                continue
            inside = [device for device in _devices(job, zone) if job.equipment[device].room in rooms]
            if any(job.sheet_of(device).kind is Kind.DETECTOR for device in inside):
                found.append(_in_one_only(facts, name, zone, inside[0], (common_id, common), lies))
    return found


def _rooms_of(job: Job, common_id: str, common: Area) -> set[str]:
    """Return the rooms of a shared area: where its own zones' devices stand, and a room that is called the same."""
    own = [zone for zone in job.zones.values() if common_id in zone.areas]
    rooms = {room for zone in own for device in _devices(job, zone) if (room := job.equipment[device].room)}
    for storey in job.storeys.values():
        rooms |= {key for key, room in storey.rooms.items() if key == common_id or room.name.lower() == common.name.lower()}
    return rooms


def _devices(job: Job, zone: Zone) -> list[str]:
    """Return the devices behind a zone."""
    if zone.circuit is None:
        return []
    circuit = job.circuits[zone.circuit]
    pair = circuit.topology is Topology.PAIR
    return [hop.device for hop in circuit.path if hop.device is not None and (not pair or hop.part == zone.part)]


def _in_one_only(facts: Facts, name: str, zone: Zone, device: str, common: tuple[str, Area], lies: list[str]) -> Finding:
    job, (common_id, area) = facts.job, common
    others = [job.areas[other].name for other in area.common_to if other not in lies]
    own = some([job.areas[other].name for other in lies])
    return Finding(
        code="common-area-detector",
        severity=Severity.SHOULD,
        subject=f"zones/{name}/areas",
        sentence=f"{label_of(job, device)} (zone {zone.number}) stands in a room of {area.name}, which is shared, but lies in {own} only: "
        f"it is live when {own} is set while {some(others)} may still be in use.",
        remedy=f"Put zone {zone.number} in {area.name} ({common_id}), which is set when the last of the areas that share it is.",
        source="practice",
    )


def check_factory_codes(facts: Facts) -> list[Finding]:
    """The factory codes of every control unit have been replaced."""
    found = []
    for name, item in facts.job.equipment.items():
        if facts.job.sheet_of(name).kind is not Kind.CONTROL or item.default_codes_changed is YesNoUnknown.YES:
            continue
        label, path = label_of(facts.job, name), f"equipment/{name}/default_codes_changed"
        if item.default_codes_changed is YesNoUnknown.UNKNOWN:
            text = f"Whether the factory codes of {label} were replaced is not known."
            found.append(_gap("factory-codes-unknown", path, text, "Ask, or replace them, and enter it."))
            continue
        found.append(
            Finding(
                code="factory-codes-left",
                severity=due(facts.job, Stage.PROGRAMMED, Severity.SHOULD),
                subject=path,
                sentence=f"The factory codes of {label} are still in it: anyone with its manual can unset it.",
                remedy="Replace every factory code before the hand-over. Codes are secrets and never stand in the job.",
                source="practice",
            )
        )
    return found
