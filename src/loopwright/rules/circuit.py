"""Checks on how detection circuits are built and landed."""

from __future__ import annotations

import math
from collections import Counter
from functools import cache

from loopwright.circuits.forecast import CircuitForecast, limits
from loopwright.circuits.preferred import Series, is_preferred
from loopwright.job.document import Circuit, EndPlace, Stage
from loopwright.job.sheet import ResistorSet, Topology
from loopwright.power.forecast import label_of
from loopwright.rules.facts import Facts
from loopwright.rules.worked import due, length_words, some, worked
from loopwright.values.figure import Figure, Input, Origin
from loopwright.values.finding import Finding, Severity

MOST_WIRING_OHM = 100.0
"""Loop wiring commonly allowed beside the end resistor: common practice, no source."""
LEAK_OHM = 100_000.0
"""A leak below this is looked into: common practice, no source (the standard's own test asks for far more)."""
NEEDS = {
    Topology.NONE: (),
    Topology.SINGLE: ("end_ohm",),
    Topology.DOUBLE: ("end_ohm", "alarm_ohm"),
    Topology.TRIPLE: ("end_ohm", "alarm_ohm", "fault_ohm"),
    Topology.PAIR: ("end_ohm", "alarm_ohm", "fault_ohm"),
}
WORDS = {"end_ohm": "end", "alarm_ohm": "alarm", "fault_ohm": "fault"}


def lacking(circuit: Circuit) -> tuple[str, ...]:
    """Return the resistors a circuit's topology needs and the document does not give, in words."""
    return tuple(WORDS[name] for name in NEEDS[circuit.topology] if getattr(circuit.resistors, name) is None)


def check_landed(facts: Facts) -> list[Finding]:
    """Every circuit lands on an input of its own that can serve its topology."""
    found = []
    used: dict[str, list[str]] = {}
    for name, circuit in facts.job.circuits.items():
        subject = f"circuits/{name}"
        if circuit.input is None:
            found.append(
                Finding(
                    code="circuit-not-landed",
                    severity=Severity.GAP,
                    subject=subject,
                    sentence=f"Circuit {name} lands on no input.",
                    remedy="Enter the input it is connected to.",
                    source="job-document",
                )
            )
            continue
        used.setdefault(circuit.input, []).append(name)
        inputs = facts.job.sheet_of(circuit.input.partition(".")[0]).inputs
        bands = inputs.bands if inputs is not None else {}
        if circuit.topology not in bands:
            known = some([str(topology) for topology in bands])
            unit = label_of(facts.job, circuit.input.partition(".")[0])
            found.append(
                Finding(
                    code="topology-not-served" if bands else "bands-missing",
                    severity=Severity.MUST if bands else Severity.GAP,
                    subject=subject,
                    sentence=f"Circuit {name} is built as {circuit.topology}; the inputs of {unit} read {known}."
                    if bands
                    else f"The sheet of {unit} gives no resistance bands, so what circuit {name} is taken for is not known.",
                    remedy="Rebuild the circuit, or land it on a unit that reads it."
                    if bands
                    else "Enter the bands from the unit's sheet.",
                    source="data-sheet",
                )
            )
    return found + [_twice(terminal, names) for terminal, names in used.items() if len(names) > 1]


def _twice(terminal: str, names: list[str]) -> Finding:
    return Finding(
        code="input-used-twice",
        severity=Severity.MUST,
        subject=f"circuits/{names[1]}",
        sentence=f"Circuits {some(names)} land on the same input {terminal}.",
        remedy="Land each on an input of its own.",
        source="job-document",
    )


def check_resistors(facts: Facts) -> list[Finding]:
    """Every circuit has the resistors its topology and the unit's sheet ask for, of values that are made."""
    found = []
    for name, circuit in facts.job.circuits.items():
        missing = lacking(circuit)
        if missing:
            found.append(
                Finding(
                    code="resistor-missing",
                    severity=Severity.GAP,
                    subject=f"circuits/{name}/resistors",
                    sentence=f"Circuit {name} is built as {circuit.topology} but no {some(missing)} resistor is entered.",
                    remedy="Enter the values that are fitted.",
                    source="job-document",
                )
            )
        unit = circuit.input.partition(".")[0] if circuit.input else None
        inputs = facts.job.sheet_of(unit).inputs if unit else None
        asked = inputs.resistor_sets.get(circuit.topology) if inputs is not None else None
        if asked is not None and unit is not None:
            found += _other_values(facts, name, circuit.resistors, asked, unit)
        found += _odd_values(name, circuit.resistors)
    return found


def resistor_values(resistors: ResistorSet) -> list[tuple[str, float]]:
    """Return the resistors of a set that are given, by field [Ω]."""
    return [(field, ohm) for field in WORDS if (ohm := getattr(resistors, field)) is not None]


def _other_values(facts: Facts, name: str, fitted: ResistorSet, asked: ResistorSet, unit: str) -> list[Finding]:
    """Return the finding that fitted values are not the sheet's."""
    wanted = dict(resistor_values(asked))
    rows = [(field, ohm, wanted[field]) for field, ohm in resistor_values(fitted) if field in wanted]
    differ = [f"{WORDS[field]} {ohm:g} Ω instead of {want:g} Ω" for field, ohm, want in rows if not math.isclose(ohm, want, rel_tol=1e-6)]
    if not differ:
        return []
    return [
        Finding(
            code="resistor-not-as-sheet",
            severity=Severity.SHOULD,
            subject=f"circuits/{name}/resistors",
            sentence=f"Circuit {name} has {some(differ)}, which the sheet of {label_of(facts.job, unit)} asks for.",
            remedy="Fit the sheet's values, or enter the values the unit is set to.",
            clause="resistor set",
            source="data-sheet",
        )
    ]


@cache
def _made(ohm: float) -> bool:
    return is_preferred(ohm, Series.E24) or is_preferred(ohm, Series.E96)


def _odd_values(name: str, fitted: ResistorSet) -> list[Finding]:
    odd = [ohm for _, ohm in resistor_values(fitted) if ohm > 0 and not _made(ohm)]
    if not odd:
        return []
    return [
        Finding(
            code="resistor-value-not-made",
            severity=Severity.NOTE,
            subject=f"circuits/{name}/resistors",
            sentence=f"Circuit {name} is entered with {some([f'{ohm:g} Ω' for ohm in odd])}, which no common series of resistors has.",
            remedy="Read the colour bands again, or measure the resistor.",
            clause="preferred numbers E24 and E96",
            source="iec-60063",
        )
    ]


def check_end_resistor_place(facts: Facts) -> list[Finding]:
    """The end resistor is at the last device, where a short of the cable is seen."""
    return [
        Finding(
            code="end-resistor-at-control-unit",
            severity=Severity.SHOULD,
            subject=f"circuits/{name}/end_at",
            sentence=f"The end resistor of circuit {name} is at the control unit: a short anywhere in its cable looks like rest.",
            remedy="Move it to the last device.",
            source="practice",
        )
        for name, circuit in facts.job.circuits.items()
        if circuit.end_at is EndPlace.CONTROL_UNIT and circuit.topology is not Topology.NONE
    ]


def check_contacts(facts: Facts) -> list[Finding]:
    """Every alarm and tamper contact stands in a circuit."""
    used: Counter[tuple[str, str]] = Counter()
    for circuit in facts.job.circuits.values():
        used.update({(hop.device, word) for hop in circuit.path if hop.device is not None for word in hop.contacts})
    found = []
    for name in facts.job.equipment:
        sheet = facts.job.sheet_of(name)
        left = [word for word in sheet.contacts if word in ("alarm", "tamper") and not used[name, word]]
        if not left or sheet.addressed or sheet.inputs is not None:
            continue
        alarm = "alarm" in left
        anywhere = any(used[name, word] for word in sheet.contacts)
        if alarm:
            severity = due(facts.job, Stage.POWER_UP, Severity.MUST) if anywhere else Severity.GAP
        else:
            severity = due(facts.job, Stage.POWER_UP, Severity.SHOULD) if facts.ruleset.key.startswith("en-") else Severity.NOTE
        found.append(
            Finding(
                code="alarm-contact-unused" if alarm else "tamper-contact-unused",
                severity=severity,
                subject=f"equipment/{name}",
                sentence=f"The {some(left)} contact of {label_of(facts.job, name)} stands in no circuit."
                if len(left) == 1
                else f"The {some(left)} contacts of {label_of(facts.job, name)} stand in no circuit.",
                remedy="Add it to the path of the circuit it belongs to.",
                source="job-document" if alarm else "practice",
            )
        )
    return found


def check_wiring(facts: Facts) -> list[Finding]:
    """No circuit has more than 100 Ω of wiring, and none leaks."""
    found = []
    for item in facts.circuits:
        circuit = facts.job.circuits[item.circuit]
        figure = _wiring_figure(item)
        if figure.value is not None and figure.value > MOST_WIRING_OHM:
            room = limits(facts.job, item).extra_m
            left = f" At rest it is misread after {length_words(facts.job, room.nominal)} more." if room is not None else ""
            found.append(
                Finding(
                    code="circuit-wiring-long",
                    severity=Severity.SHOULD,
                    subject=f"circuits/{item.circuit}",
                    sentence=f"The cores of circuit {item.circuit} make {figure}; {MOST_WIRING_OHM:g} Ω is what is commonly allowed.{left}",
                    remedy=f"Shorten it or use thicker cores, to {MOST_WIRING_OHM / figure.value:.0%} of the ohms it has now.",
                    source="practice",
                    figures=(figure,),
                )
            )
        if circuit.leak_ohm is not None and circuit.leak_ohm < LEAK_OHM:
            found.append(_leak(facts, item, circuit.leak_ohm))
    return found


def _wiring_figure(item: CircuitForecast) -> Figure:
    rows = [(n, float(o)) for n, o in zip(item.reading.names, item.reading.ohm[0], strict=True) if ".core-" in n]
    value = sum(ohm for _, ohm in rows)
    return worked(
        f"wiring/{item.circuit}",
        f"circuit {item.circuit}, cores out and back",
        value,
        "Ω",
        formula="R = Σ R_core",
        inputs=[Input(name=name, value=round(ohm, 3), unit="Ω", origin=Origin.COMPUTED) for name, ohm in rows],
        substituted=" + ".join(f"{ohm:.2f}" for _, ohm in rows),
    )


def _leak(facts: Facts, item: CircuitForecast, leak_ohm: float) -> Finding:
    # The circuit was solved with its leak, so the limit says how much more it bears, not how much it bore dry.
    hides = limits(facts.job, item).leak_alarm_ohm
    tail = f" A further leak of {hides:.0f} Ω would hide an alarm." if hides is not None and math.isfinite(hides) else ""
    return Finding(
        code="circuit-leaks",
        severity=Severity.SHOULD,
        subject=f"circuits/{item.circuit}",
        sentence=f"A leak of {leak_ohm:.0f} Ω was measured between the cores of circuit {item.circuit}.{tail}",
        remedy="Look for damp or a nicked core before the circuit is used.",
        source="practice",
    )
