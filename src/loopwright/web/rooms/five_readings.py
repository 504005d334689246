"""The five readings of one circuit: at rest, operated, lid open, shorted at the device, and whether a lifted wire is noticed.

One reading at rest passes most wrong wirings; the five together name each of them (docs/explain.md says what holds that).
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import replace
from typing import Any, NamedTuple

from loopwright.appraisal.observed import Verdict, held_against
from loopwright.appraisal.trend import Trend, of_circuit, trends
from loopwright.circuits.forecast import ActForecast, CircuitForecast, ohm_figure
from loopwright.drawing.circuit_bands import circuit_bands
from loopwright.drawing.meter_points import meter_points
from loopwright.explain.check import Check, CheckKind
from loopwright.explain.circuit.check import act_words
from loopwright.explain.explanation import Explanation
from loopwright.job.sheet import Reads
from loopwright.job.speech import listed
from loopwright.netlist.loop import ActKind
from loopwright.store.visit import Visit
from loopwright.values.figure import Figure, show
from loopwright.web.page import Page
from loopwright.web.site_reading import Read, is_on_record, observation_of, typed
from loopwright.web.visiting import OnSite

KILO = 1000.0
STATES = {ActKind.REST: "", ActKind.ACTIVATED: "operated", ActKind.LID_OPEN: "lid open", ActKind.SHORTED: "shorted"}
LIFTED = "wire lifted"
LEAST_NAMED = 0.03
"""Answers less likely than this are not named beside the five readings: a choice of this page."""
NOTICED, UNNOTICED = "not at rest", "rest"


class Box(NamedTuple):
    """One reading of the sheet: what is done, what it should show, the entry that stands, and how it agrees.

    ``figure`` is None for a wire lifted, where the question is whether the control unit notices. ``in_place`` are volts read with the same
    done and the wires in place.
    """

    words: str
    state: str
    figure: Figure | None
    expects: str
    id: str
    text: str
    unit: str
    understood: str
    verdict: str
    wrong: bool
    by_how_much: str
    before: list[str]
    in_place: list[str]


def view(page: Page, site: OnSite, visit: Visit, reads: list[Read], asked: str) -> dict[str, Any]:
    """Return the sheet of the circuit that is asked for, and the circuits to choose from."""
    job = page.job
    zones = defaultdict[str, list[str]](list)
    for zone in job.zones.values():
        if zone.circuit is not None:
            zones[zone.circuit].append(zone.text)
    read = {each.seen.check.where for each in reads if each.seen is not None}
    choices = [(name, listed(zones[name]), name in read) for name in job.circuits]
    item = next((each for each in page.appraisal.circuits if each.circuit == asked), None)
    return {
        "circuits": choices,
        "circuit": asked if item is not None else "",
        "sheet": _sheet(page, site, visit, reads, item) if item else None,
    }


def _sheet(page: Page, site: OnSite, visit: Visit, reads: list[Read], item: CircuitForecast) -> dict[str, Any]:
    own = [each for each in reads if each.seen is not None and each.seen.check.where == item.circuit]
    pattern = site.explained(page.appraisal, visit, own, ahead=False) if own else None
    return {
        "boxes": [_box(page, item, act, own, visit) for act in _acts(item)],
        "read": len(own),
        "pattern": pattern,
        "named": named(pattern),
        "trends": _trends(page, own, visit, item.circuit),
        "wide": meter_points(page.appraisal, item.circuit),
        "narrow": meter_points(page.appraisal, item.circuit, narrow=True),
        "bands_wide": circuit_bands(page.appraisal, item.circuit),
        "bands_narrow": circuit_bands(page.appraisal, item.circuit, narrow=True),
    }


def _trends(page: Page, own: list[Read], visit: Visit, circuit: str) -> tuple[Trend, ...]:
    """Return what has moved since former years, this visit's readings among those on record."""
    new = [observation_of(each.entry, visit.meter.name) for each in own if each.entry.reading and not is_on_record(page.job, each.entry)]
    return of_circuit(trends(page.appraisal, new), circuit)


def named(pattern: Explanation | None) -> list[tuple[float, Any]]:
    """Return the causes a pattern of readings names, likeliest first."""
    if pattern is None:
        return []
    return [(each.probability, each) for each in pattern.answers if each.probability >= LEAST_NAMED]


def _acts(item: CircuitForecast) -> list[ActForecast]:
    """Return the acts of the sheet: at rest, then everything that is done at one device before the next."""
    rest = [act for act in item.acts if act.act.kind is ActKind.REST]
    devices = list(dict.fromkeys(act.act.device for act in item.acts if act.act.device))
    kinds = (ActKind.ACTIVATED, ActKind.LID_OPEN, ActKind.SHORTED, ActKind.CUT)
    return rest + [act for device in devices for kind in kinds for act in item.acts if act.act.kind is kind and act.act.device == device]


def _box(page: Page, item: CircuitForecast, act: ActForecast, own: list[Read], visit: Visit) -> Box:
    device = act.act.device or ""
    words = act_words(page.job, act.act.kind, device)
    words = f"{words[0].upper()}{words[1:]}"
    lifted = act.act.kind is ActKind.CUT
    check = Check(kind=CheckKind.STATE if lifted else CheckKind.OHM, where=item.circuit, act=act.act.kind, device=device)
    state = f"{LIFTED if lifted else STATES[act.act.kind]} {device}".strip()
    stands = [each for each in own if each.seen is not None and each.seen.check == check]
    entry = stands[-1].entry if stands else None
    common: dict[str, Any] = {
        "words": words,
        "state": state,
        "id": entry.id if entry else "",
        "before": [each.entry.reading or each.entry.shows for each in stands[:-1]],
        # Volts typed into the box of ohms are the wires in place, and stand with the other readings of the visit.
        "in_place": [
            each.entry.reading for each in own if each.seen is not None and each.seen.check == replace(check, kind=CheckKind.VOLTS)
        ],
    }
    if lifted:
        return _lifted(item, act, entry.shows if entry else "", common)
    usual = "kΩ" if act.field_ohm >= KILO else "Ω"
    text, unit = typed(entry.reading if entry else "", usual)
    held = held_against(page.appraisal, [observation_of(entry, visit.meter.name)])[0] if entry else None
    return Box(
        **common,
        figure=ohm_figure(page.job, item, act),
        expects="over range" if math.isinf(act.field_ohm) else _between(act),
        text=text,
        unit=unit,
        understood=entry.reading if entry else "",
        verdict=str(held.verdict) if held else "",
        wrong=held is not None and held.verdict is Verdict.DIFFERS,
        by_how_much=held.words if held else "",
    )


def _between(act: ActForecast) -> str:
    return f"{show(act.low_ohm, 'Ω')} to {show(act.high_ohm, 'Ω')} with the parts' tolerances"


def _lifted(item: CircuitForecast, act: ActForecast, shows: str, common: dict[str, Any]) -> Box:
    """Return the question whether the unit notices a lifted wire: what it takes the cut circuit for is not what it takes for rest."""
    notices = act.taken_for is not Reads.REST
    known = item.bands is not None
    right = (shows == UNNOTICED) != notices
    verdict = "" if not shows else "not compared" if not known else "as forecast" if right else "not as forecast"
    expects = "no bands on the sheet" if not known else "the unit changes state" if notices else "the unit does not notice"
    return Box(
        **common, figure=None, expects=expects, text=shows, unit="", understood="", verdict=verdict,
        wrong=verdict == "not as forecast", by_how_much="",
    )  # fmt: skip
