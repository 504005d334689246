"""Checks on the data bus: addresses, lengths, capacitance, shape, ends, and its 0 V."""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from loopwright.job.document import Job, Stage, YesNoUnknown
from loopwright.job.sheet import BusSheet
from loopwright.power.forecast import label_of
from loopwright.rules.facts import Facts
from loopwright.rules.feed import apart
from loopwright.rules.feeding import zero_groups
from loopwright.rules.worked import due, length_words, some, worked
from loopwright.values.figure import Figure, Input, Origin
from loopwright.values.finding import Finding, Severity


@dataclass(frozen=True, kw_only=True, slots=True)
class Bus:
    """One data bus: who drives it, its runs, the way [m] to every place it reaches, and how many runs meet at each place."""

    driver: str
    sheet: BusSheet
    runs: tuple[str, ...]
    way_m: Mapping[str, float]
    meeting: Mapping[str, int]


def buses(job: Job) -> tuple[Bus, ...]:
    """Return the bus of every unit that drives one, followed along its runs."""
    drivers = [(name, sheet.bus) for name in job.equipment if (sheet := job.sheet_of(name)).bus is not None]
    return tuple(_follow(job, name, sheet) for name, sheet in drivers if sheet is not None)


def _follow(job: Job, driver: str, sheet: BusSheet) -> Bus:
    meets: dict[str, list[tuple[str, str, float]]] = {}
    for name, cable in job.cables.items():
        if cable.bus:
            length = cable.length_m + cable.slack_m
            meets.setdefault(cable.start, []).append((name, cable.end, length))
            meets.setdefault(cable.end, []).append((name, cable.start, length))
    way = {driver: 0.0}
    runs: dict[str, None] = {}
    front = [(0.0, driver)]
    while front:
        so_far, place = heapq.heappop(front)
        for name, other, length in meets.get(place, ()):
            runs[name] = None
            if so_far + length < way.get(other, float("inf")):
                way[other] = so_far + length
                heapq.heappush(front, (way[other], other))
    meeting = Counter(end for name in runs for end in (job.cables[name].start, job.cables[name].end))
    return Bus(driver=driver, sheet=sheet, runs=tuple(runs), way_m=way, meeting=meeting)


def check_addresses(facts: Facts) -> list[Finding]:
    """Every addressed device has an address of its own that the unit knows, and is enrolled."""
    job, found = facts.job, []
    reached = {place: bus for bus in buses(job) for place in bus.way_m}
    seen: dict[tuple[str, int], str] = {}
    strangers = []
    for name, item in job.equipment.items():
        if not job.sheet_of(name).addressed:
            continue
        bus = reached.get(name) or (reached.get(item.inside.partition(".")[0]) if item.inside else None)
        label, path = label_of(job, name), f"equipment/{name}/address"
        if bus is None:
            text = f"{label} needs the data bus, and no bus run reaches it."
            found.append(_finding("off-the-bus", Severity.GAP, f"equipment/{name}", text, "Mark the runs that carry the bus to it."))
        if item.address is None:
            found.append(_finding("address-missing", Severity.GAP, path, f"{label} has no address.", "Enter the address it is set to."))
        elif bus is not None:
            found += _address(job, bus, name, item.address, seen)
        if item.enrolled is not YesNoUnknown.YES:
            strangers.append(name)
    if strangers:
        found.append(_not_enrolled(job, strangers))
    return found


def _address(job: Job, bus: Bus, name: str, address: int, seen: dict[tuple[str, int], str]) -> list[Finding]:
    label, path = label_of(job, name), f"equipment/{name}/address"
    first, last = bus.sheet.first_address, bus.sheet.last_address
    out = []
    if not first <= address <= last:
        text = f"{label} is set to address {address}; {label_of(job, bus.driver)} knows {first} to {last}."
        out.append(_finding("address-out-of-range", Severity.MUST, path, text, "Set it to a free address in that range.", "data-sheet"))
    other = seen.setdefault((bus.driver, address), name)
    if other != name:
        taken = {number for driver, number in seen if driver == bus.driver}
        free = next((number for number in range(first, last + 1) if number not in taken), None)
        text = f"{label} and {label_of(job, other)} are both set to address {address}."
        remedy = "Set one of them to a free address" + (f": {free} is the first." if free is not None else "; none is left on this bus.")
        out.append(_finding("address-used-twice", Severity.MUST, path, text, remedy))
    return out


def _not_enrolled(job: Job, names: list[str]) -> Finding:
    known = [name for name in names if job.equipment[name].enrolled is YesNoUnknown.NO]
    words = some([label_of(job, name) for name in names])
    certain = len(known) == len(names)
    text = f"{words} {'is' if len(names) == 1 else 'are'} {'not' if certain else 'not known to be'} in the control unit's list."
    severity = due(job, Stage.PROGRAMMED, Severity.SHOULD) if known else Severity.GAP
    return _finding("not-enrolled", severity, f"equipment/{names[0]}", text, "Enrol the bus and enter what the unit found.", "practice")


def _finding(
    code: str, severity: Severity, subject: str, sentence: str, remedy: str, source: str = "job-document", *figures: Figure
) -> Finding:
    clause = "limits of the data bus" if source == "data-sheet" else ""
    return Finding(
        code=code, severity=severity, subject=subject, sentence=sentence, remedy=remedy, clause=clause, source=source, figures=figures
    )


def check_bus_length(facts: Facts) -> list[Finding]:
    """No bus is longer, in its longest way or in all, than its driver's sheet allows."""
    job, found = facts.job, []
    for bus in buses(job):
        label, subject = label_of(job, bus.driver), f"equipment/{bus.driver}"
        far, total = longest_figure(job, bus), total_figure(job, bus)
        if bus.sheet.longest_m is not None and far.value is not None and far.value > bus.sheet.longest_m:
            most = bus.sheet.longest_m
            place = max(bus.way_m, key=lambda name: bus.way_m[name])
            text = f"The data bus of {label} runs {length_words(job, far.value)} to {place}; {length_words(job, most)} is its limit."
            remedy = f"Shorten the way by {length_words(job, far.value - most)}, or put a repeater or a module between."
            found.append(_finding("bus-way-too-long", Severity.MUST, subject, text, remedy, "data-sheet", far))
        if bus.sheet.total_m is not None and total.value is not None and total.value > bus.sheet.total_m:
            most = bus.sheet.total_m
            text = f"The data bus of {label} has {length_words(job, total.value)} of cable in all; {length_words(job, most)} is its limit."
            remedy = f"Take out {length_words(job, total.value - most)} of cable, a star's longest arm first."
            found.append(_finding("bus-too-long", Severity.MUST, subject, text, remedy, "data-sheet", total))
    return found


def longest_figure(job: Job, bus: Bus) -> Figure:
    """Return the longest way from a bus driver to any place on its bus."""
    place = max(bus.way_m, key=lambda name: bus.way_m[name])
    way = Input(name=f"shortest way to {place}, slack included", value=bus.way_m[place], unit="m", origin=Origin.COMPUTED)
    label = f"{label_of(job, bus.driver)}, longest way on the bus"
    return worked(f"bus-way/{bus.driver}", label, bus.way_m[place], "m", formula="longest of the shortest ways", inputs=(way,))


def total_figure(job: Job, bus: Bus) -> Figure:
    """Return the length of all runs of a bus."""
    rows = [(name, job.cables[name].length_m + job.cables[name].slack_m) for name in bus.runs]
    inputs = [Input(name=name, value=m, unit="m", origin=Origin.DOCUMENT, path=f"cables/{name}/length_m") for name, m in rows]
    label = f"{label_of(job, bus.driver)}, bus cable in all"
    text = " + ".join(f"{m:g}" for _, m in rows)
    return worked(f"bus-total/{bus.driver}", label, sum(m for _, m in rows), "m", formula="Σ length", inputs=inputs, substituted=text)


def capacitance_figure(job: Job, bus: Bus) -> Figure | None:
    """Return the capacitance [nF] between the data cores of a bus; None when a cable's own is not known."""
    inputs, terms, total = [], [], 0.0
    for name in bus.runs:
        cable = job.cables[name]
        each = job.sheets.cables[cable.sheet].core_to_core_pf_per_m
        if each is None:
            return None
        metres = cable.length_m + cable.slack_m
        total += each * metres / 1000
        inputs.append(Input(name=f"{name}, {each:g} pF/m", value=metres, unit="m", origin=Origin.DOCUMENT, path=f"cables/{name}/length_m"))
        terms.append(f"{each:g} × {metres:g}")
    label = f"{label_of(job, bus.driver)}, capacitance of the bus"
    text = f"({' + '.join(terms)}) / 1000"
    return worked(f"bus-nf/{bus.driver}", label, total, "nF", formula="C = Σ c l", inputs=inputs, substituted=text)


def check_bus_capacitance(facts: Facts) -> list[Finding]:
    """The capacitance between the data cores is no more than the driver's sheet allows."""
    job, found = facts.job, []
    for bus in buses(job):
        most, subject = bus.sheet.capacitance_nf, f"equipment/{bus.driver}"
        if most is None or not bus.runs:
            continue
        figure, label = capacitance_figure(job, bus), label_of(job, bus.driver)
        if figure is None:
            bare = [name for name in bus.runs if job.sheets.cables[job.cables[name].sheet].core_to_core_pf_per_m is None]
            text = f"The capacitance of {some(bare)} on the data bus of {label} is not known; {most:g} nF is the limit."
            found.append(_finding("bus-capacitance-unknown", Severity.GAP, subject, text, "Enter core_to_core_pf_per_m of the cable."))
        elif figure.value is not None and figure.value > most:
            text = f"The data bus of {label} has {figure} between its data cores; {most:g} nF is its limit."
            remedy = f"Take a cable of {most / figure.value:.0%} of the capacitance a metre, or that much less cable."
            found.append(_finding("bus-capacitance-too-high", Severity.MUST, subject, text, remedy, "data-sheet", figure))
    return found


def check_bus_shape(facts: Facts) -> list[Finding]:
    """A bus that must be a line is one; where its ends want a resistor, that is said."""
    job, found = facts.job, []
    for bus in buses(job):
        if not bus.runs:
            continue
        label, subject = label_of(job, bus.driver), f"equipment/{bus.driver}"
        forks = [place for place, count in bus.meeting.items() if count > 2]
        if bus.sheet.shape == "line" and forks:
            text = f"The data bus of {label} must be a line; it forks at {some(forks)}."
            remedy = "Run it through each device and back out instead of from one point to several."
            found.append(_finding("bus-not-a-line", Severity.MUST, subject, text, remedy, "data-sheet"))
        ends = [place for place, count in bus.meeting.items() if count == 1]
        if bus.sheet.terminate_ohm is not None and not forks:
            text = f"The data bus of {label} wants {bus.sheet.terminate_ohm:g} Ω at each end: at {some(ends)}, and nowhere else."
            found.append(_finding("bus-ends", Severity.NOTE, subject, text, "Check both resistors with the power off.", "data-sheet"))
    return found


def check_bus_zero(facts: Facts) -> list[Finding]:
    """Every device on a bus has its 0 V in common with the unit that drives it."""
    job, found, groups = facts.job, [], zero_groups(facts.power)
    for bus in buses(job):
        lost = [place for place in bus.way_m if place in job.equipment and apart(groups, bus.driver, place)]
        lost = [place for place in lost if f"{place}.supply" not in facts.power.unfed]
        if lost:
            text = (
                f"{some([label_of(job, name) for name in lost])} and {label_of(job, bus.driver)} have no common 0 V, yet share a data bus."
            )
            remedy = "Join their 0 V with a core of the bus run (zero_v_cores); never join the plus of two supplies."
            found.append(_finding("bus-without-common-0v", Severity.MUST, f"equipment/{lost[0]}", text, remedy, "first-principles"))
    return found
