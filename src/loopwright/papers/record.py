"""The circuit and power record: what every terminal and every circuit should read, why, and room to write what was found."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import datetime

from loopwright.appraisal.appraise import Appraisal
from loopwright.circuits.forecast import ActForecast, CircuitForecast
from loopwright.drawing.battery_curve import battery_curve, curve_words
from loopwright.drawing.circuit_bands import NIL, bands_words, chance_words, circuit_bands, reading_words
from loopwright.drawing.meter_points import meter_points, wiring_words
from loopwright.drawing.paper import for_paper
from loopwright.drawing.power_tree import power_tree_sheets, tree_words
from loopwright.drawing.state import State, standing_of
from loopwright.job.document import Circuit, Job, UnitSystem
from loopwright.job.labels import place_words
from loopwright.job.quantity import show_gauge, show_quantity
from loopwright.job.sheet import Topology
from loopwright.job.speech import Speech, plain_words
from loopwright.papers.press import pressed
from loopwright.papers.supply import supplies
from loopwright.papers.words import Cell, capital, computed, fixed, moment, plain, stated, working_lines
from loopwright.power.forecast import heat_w, label_of, scenario_words, transformer_va
from loopwright.power.standby import longest_figure, recharge_figure, required_figure
from loopwright.values.figure import Figure
from loopwright.values.finding import Severity
from loopwright.values.source import Source, source

TITLE = "Circuit and power record"
CAUTIONS = (
    (
        "Mains",
        "The fixed wiring, the spur and the input of a transformer are work for a licensed person. Isolate, lock off and prove dead before "
        "a cover comes off. Fit mains and battery in the order the unit's own instructions give.",
    ),
    (
        "Battery",
        "Never bridge the lugs; take off rings and metal watches. A battery that is swollen, hot or leaking stays where it is until it can "
        "be moved with protection. Lead and acid are recycled, never binned.",
    ),
    ("What wins", "Local codes, and the instructions that come with listed equipment, win over any figure in this record."),
    (
        "What this is not",
        "It is no design and no test of fire, gas, carbon-monoxide or medical equipment. Where such a device appears, only its load on a "
        "supply is reckoned.",
    ),
    (
        "Measuring",
        "Ohms are read with both wires out of the terminals; volts with the wires in place. Before anything is set off, tell the people in "
        "the building and the receiving centre, and protect your ears.",
    ),
)
_COLUMNS = ("alarm/mains", "alarm/battery", "alarm/battery-end")
_SEVERITY_WORDS = {Severity.MUST: "must", Severity.SHOULD: "should", Severity.GAP: "open", Severity.NOTE: "note"}


def circuit_and_power_record(appraisal: Appraisal, *, revision: str, now: datetime) -> bytes:
    """Return the record as a PDF; the same appraisal, revision and moment give the same bytes.

    Raises ValueError when ``now`` carries no zone: a record says when it was made, not roughly when.
    """
    if now.tzinfo is None:
        raise ValueError("the moment on a record needs its zone")
    return pressed("record.typ", contents(appraisal, revision=revision, now=now), now=now)


def contents(appraisal: Appraisal, *, revision: str, now: datetime) -> dict[str, object]:
    """Return everything the record says, as the template reads it."""
    job = appraisal.job
    workings = [working_lines(figure) for figure in _figures(appraisal)]
    kit = _kit(job)
    return {
        "kind": TITLE,
        "title": plain(job.title),
        "paper": "us-letter" if job.region.units is UnitSystem.US else "a4",
        "revision": plain(revision),
        "printed": moment(now),
        "cover": _cover(appraisal, revision, now),
        "parties": [[plain(p.role), plain(p.name), plain(p.phone)] for p in job.parties.values()],
        "invented": any(line["invented"] for line in kit),
        "cautions": [list(row) for row in CAUTIONS],
        "findings": _findings(appraisal),
        "supplies": [
            {**item, "curve": _drawing(battery_curve(appraisal, name), curve_words(job, standby)) if standby else None}
            for name, item, standby in supplies(appraisal)
        ],
        "trees": [
            {"words": scenario_words(name), **_drawing(svg, tree_words(appraisal, name))}
            for name in ("alarm/battery-end",)
            for svg in power_tree_sheets(appraisal, name, rows_a_sheet=45)
        ],
        "devices": _devices(appraisal),
        "circuits": _circuits(appraisal),
        "watches": [
            {
                "name": plain(capital(Speech(job).terminal("outputs", item.circuit))),
                "used": item.network.landed,
                "acts": [_act(job, item, act) for act in item.acts],
            }
            for item in appraisal.watches
        ],
        "bands": [_drawing(circuit_bands(appraisal, c.circuit, paper=True), bands_words(job, c)) for c in _worth_a_picture(appraisal)],
        "observations": [[plain(x) for x in (o.at, o.by, o.where, o.state, o.reading, o.instrument)] for o in job.observations],
        "kit": kit,
        "workings": workings,
        "sources": [_source_line(each) for each in _sources(appraisal)],
    }


def _drawing(svg: str, words: str) -> dict[str, object]:
    return {"svg": for_paper(svg), "alt": plain(words)}


def _cover(appraisal: Appraisal, revision: str, now: datetime) -> list[list[str]]:
    job, rules = appraisal.job, appraisal.ruleset
    counted = ((appraisal.count(each), word) for each, word in _SEVERITY_WORDS.items())
    count = ", ".join(f"{n} {word}{'s' if word == 'note' and n > 1 else ''}" for n, word in counted if n) or "none"
    rows = [
        ("Premises", job.premises.name),
        ("Address", job.premises.address.strip()),
        ("Ruleset", f"{rules.title}, {rules.edition}, as of {rules.as_of}"),
        ("Mains", f"{job.region.mains_v:g} V, {job.region.mains_hz:g} Hz, {job.region.country}"),
        ("Stage", plain_words(job.stage)),
        ("Findings", count),
        ("Made", moment(now)),
        ("Revision", revision),
    ]
    return [[name, plain(words)] for name, words in rows if words]


def _findings(appraisal: Appraisal) -> list[dict[str, str]]:
    job = appraisal.job
    return [
        {
            "severity": _SEVERITY_WORDS[f.severity],
            "code": f.code,
            "subject": plain(place_words(job, f.subject) if f.subject else ""),
            "sentence": plain(f.sentence),
            "remedy": plain(f.remedy),
            "source": plain(", ".join(filter(None, (str(source(f.source)), f.clause)))),
        }
        for f in appraisal.findings
    ]


def _devices(appraisal: Appraisal) -> list[dict[str, object]]:
    """Return a row for each supply input: its least volts, its volts in alarm in three conditions, and how it stands at the worst."""
    columns = [appraisal.power.column(name) for name in _COLUMNS]
    out = []
    for item in appraisal.power.loads:
        unit = item.landing.equipment
        label = label_of(appraisal.job, unit)
        several = len(appraisal.job.sheet_of(unit).loads) > 1
        standings = [standing_of(appraisal, item, column) for column in columns]
        out.append(
            {
                "name": plain(f"{label} ({item.landing.load})" if several else label),
                "id": plain(unit),
                "least": fixed(item.draw.min_v, 2),
                "volts": [fixed(s.volts_v, 2) for s in standings],
                "words": standings[-1].words,
                "short": any(s.state in (State.SHORT, State.OVER) for s in standings),
            }
        )
    return out


def _circuits(appraisal: Appraisal) -> list[dict[str, object]]:
    job = appraisal.job
    out: list[dict[str, object]] = []
    for item in appraisal.circuits:
        circuit = job.circuits[item.circuit]
        zones = [f"zone {z.number}, {z.text}" for z in job.zones.values() if z.circuit == item.circuit]
        out.append(
            {
                "name": plain(item.circuit),
                "zones": plain("; ".join(zones) or "no zone"),
                "input": plain(circuit.input or "not landed"),
                "facts": _circuit_facts(job, item.circuit, circuit),
                "acts": [_act(job, item, act) for act in item.acts],
                "wiring": _drawing(meter_points(appraisal, item.circuit, width=700, bare=True), wiring_words(job, item.circuit)),
                "note": plain(circuit.note.strip()),
            }
        )
    return out


def _circuit_facts(job: Job, name: str, circuit: Circuit) -> list[dict[str, object]]:
    units, base = job.region.units, f"circuits/{name}"
    length = sum(job.cables[hop.cable].length_m + job.cables[hop.cable].slack_m for hop in circuit.path)
    kinds = dict.fromkeys(show_gauge(job.sheets.cables[job.cables[hop.cable].sheet].gauge, units) for hop in circuit.path)
    resistors = circuit.resistors
    # Where two zones share a pair, each has a resistor of its own across its contact.
    first, second = ("first zone", "second zone") if circuit.topology is Topology.PAIR else ("alarm", "fault")
    named = (("end", resistors.end_ohm), (first, resistors.alarm_ohm), (second, resistors.fault_ohm))
    fitted = [f"{word} {show_quantity(ohm, 'Ω')}" for word, ohm in named if ohm is not None]
    cells: list[tuple[str, Cell]] = [
        ("Cable", computed(f"{', '.join(hop.cable for hop in circuit.path)} ({', '.join(kinds)})" if circuit.path else "none")),
        ("Length", computed(show_quantity(length, "m", units))),
        ("Topology", stated(job, f"{base}/topology", plain_words(circuit.topology))),
        ("Resistors", computed(", ".join(fitted) or "none")),
        ("Tolerance", stated(job, f"{base}/resistor_tolerance_pct", f"{circuit.resistor_tolerance_pct:g} %")),
    ]
    facts: list[dict[str, object]] = [{"name": word, **cell} for word, cell in cells]
    return facts


def _act(job: Job, item: CircuitForecast, act: ActForecast) -> dict[str, object]:
    digits = 1 if act.field_ohm < 100 else 0
    pull, corners = item.network.pull_up, (act.low_ohm, act.high_ohm)
    volts = [pull.open_v if math.isinf(ohm) else pull.open_v * ohm / (ohm + pull.ohm) for ohm in corners]
    return {
        "name": str(act.act.kind),
        "device": plain(label_of(job, act.act.device)) if act.act.device else "",
        "ohm": fixed(act.field_ohm, digits),
        "corners": _between(corners, digits),
        "volts": fixed(act.volts_v, 2),
        "volt_corners": _between((volts[0], volts[1]), 2),
        "reads": ", ".join(filter(None, (reading_words(job, item.circuit, act), chance_words(act.misread)))),
        "wrong": act.misread is not None and (not act.right or act.misread >= NIL),
    }


def _between(ends: tuple[float, float], digits: int) -> str:
    """Return two bounds as one cell; one figure when they read the same."""
    low, high = (fixed(end, digits) for end in ends)
    return low if low == high else f"{low} … {high}"


def _worth_a_picture(appraisal: Appraisal) -> list[CircuitForecast]:
    """Return the circuits whose bands are drawn: each that can be misread, and one of every kind that cannot."""
    out, kinds = [], set()
    for item in appraisal.circuits:
        circuit = appraisal.job.circuits[item.circuit]
        wrong = any(not act.right or (act.misread or 0.0) >= NIL for act in item.acts if act.misread is not None)
        kind = (circuit.topology, circuit.resistors, item.bands)
        if wrong or kind not in kinds:
            out.append(item)
        kinds.add(kind)
    return out


def _kit(job: Job) -> list[dict[str, object]]:
    """Return every data sheet used, how many are fitted, and whether it was invented for the example."""
    out = []
    for name, sheet in job.sheets.equipment.items():
        count = sum(1 for item in job.equipment.values() if item.sheet == name)
        named = sheet.maker if sheet.maker == sheet.model else f"{sheet.maker} {sheet.model}"
        out.append(_kit_line(plain_words(sheet.kind), named, str(count), sheet.provenance, sheet.invented))
    for name, battery in job.sheets.batteries.items():
        fitted = [item.battery for item in job.equipment.values() if item.battery is not None and item.battery.sheet == name]
        count = sum(each.parallel for each in fitted)
        out.append(_kit_line("battery", f"{battery.maker} {battery.model}", str(count), battery.provenance, battery.invented))
    for name, cable in job.sheets.cables.items():
        metres = sum(run.length_m + run.slack_m for run in job.cables.values() if run.sheet == name)
        words = f"{cable.maker} {cable.model}".strip() or name
        out.append(_kit_line("cable", words, show_quantity(metres, "m", job.region.units), cable.provenance, cable.invented))
    return out


def _kit_line(kind: str, name: str, count: str, provenance: str, invented: bool) -> dict[str, object]:
    return {"kind": kind, "name": plain(name), "count": count, "provenance": plain(provenance.strip()), "invented": invented}


def _figures(appraisal: Appraisal) -> Iterator[Figure]:
    """Yield the figures whose workings are printed, each once: what findings quote, then batteries, heat and transformers."""
    seen: set[str] = set()
    for figure in _all_figures(appraisal):
        if figure.key not in seen:
            seen.add(figure.key)
            yield figure


def _all_figures(appraisal: Appraisal) -> Iterator[Figure]:
    job = appraisal.job
    for finding in appraisal.findings:
        yield from finding.figures
    for item in appraisal.standby:
        yield required_figure(job, item)
        yield longest_figure(job, item)
        yield recharge_figure(job, item)
    for item_ in appraisal.power.supplies:
        yield heat_w(job, appraisal.power, item_.name)
        rating = transformer_va(job, appraisal.power, item_.name)
        if rating is not None:
            yield rating


def _sources(appraisal: Appraisal) -> list[Source]:
    """Return every source the record rests on, in the order it is first named."""
    keys = [finding.source for finding in appraisal.findings]
    keys += [need.requirement.source for need in appraisal.standby] + [need.requirement.recharge_source for need in appraisal.standby]
    keys += [figure.working().source for figure in _figures(appraisal)]
    return [source(key) for key in dict.fromkeys([*keys, "data-sheet", "first-principles"])]


def _source_line(item: Source) -> list[str]:
    return [plain(item.title), str(item.standing), plain(item.where), plain(item.note)]
