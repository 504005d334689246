"""The wiring: cable runs with the volts at their far end, detection circuits with what a meter shows in every act."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from loopwright.circuits.forecast import ActForecast, CircuitForecast, limits, ohm_figure, volts_figure
from loopwright.circuits.misread import misread_figure, worst_act, worst_of_all
from loopwright.drawing.circuit_bands import circuit_bands
from loopwright.job.document import Cable, Circuit
from loopwright.netlist.loop import ActKind
from loopwright.power.forecast import label_of, scenario_words
from loopwright.power.forecast import volts_figure as load_volts_figure
from loopwright.power.reading import worst_scenario
from loopwright.values.figure import Figure
from loopwright.web.change import next_id
from loopwright.web.dictionary import plain_words
from loopwright.web.page import Page

READINGS = (
    (ActKind.REST, "at rest"),
    (ActKind.ACTIVATED, "activated"),
    (ActKind.LID_OPEN, "lid open"),
    (ActKind.SHORTED, "shorted"),
    (ActKind.CUT, "cut"),
)


ROOM_BELOW_PX = 60
NEVER = 1e-6
"""Probability of a misreading below which the verdict does not speak of it: a choice of this page, no source."""


class FarEnd(NamedTuple):
    """What one supply input at the far end of a run gets at worst."""

    figure: Figure
    least_v: float
    when: str
    short: bool


class Reading(NamedTuple):
    """One act's reading on a circuit."""

    words: str
    ohm: Figure
    volts: Figure
    misread: Figure
    taken_for: str
    meant: str
    right: bool


def view(page: Page) -> Mapping[str, Any]:
    """Return what the wiring room shows."""
    job, found = page.job, page.appraisal
    far: dict[str, list[FarEnd]] = {}
    for load in found.power.loads:
        if load.landing.runs:
            far.setdefault(load.landing.equipment, []).extend(_far_end(page, load.name))
    zones: dict[str, list[str]] = {}
    for zone in job.zones.values():
        if zone.circuit is not None:
            zones.setdefault(zone.circuit, []).append(zone.text)
    page.plan((f"cables/{key}" for key in job.cables), below=ROOM_BELOW_PX)
    page.plan(f"circuits/{key}" for key in job.circuits)
    return {
        "runs": [(key, cable, _carried(page, key, cable), far.get(cable.end, [])) for key, cable in job.cables.items()],
        "circuits": [_circuit(page, item, zones.get(item.circuit, [])) for item in found.circuits],
        "heads": [words for _, words in READINGS],
        "opened": lambda name: _opened(page, name),
        "next_run": next_id(job.cables, "W"),
        "next_circuit": next_id(job.circuits, "c"),
    }


def _far_end(page: Page, name: str) -> list[FarEnd]:
    job, forecast = page.job, page.appraisal.power
    load = forecast.load(name)
    scenario = worst_scenario(forecast, load)
    if scenario is None:
        return []
    short = bool(load.margin_v[forecast.column(scenario)] < 0)
    return [FarEnd(load_volts_figure(job, forecast, load, scenario), load.draw.min_v, scenario_words(scenario), short)]


def _carried(page: Page, key: str, cable: Cable) -> str:
    """Return what a run carries, in words."""
    parts = []
    for feed in cable.feeds:
        back = f" out, {feed.return_cores} back" if feed.return_cores is not None else ""
        cores = f" × {feed.cores}{back}" if feed.cores > 1 or back else ""
        parts.append(f"{feed.output}{cores}")
    if cable.bus:
        parts.append("data bus")
    parts += [name for name, circuit in page.job.circuits.items() if any(hop.cable == key for hop in circuit.path)]
    return ", ".join(parts)


def _reading(page: Page, item: CircuitForecast, act: ActForecast) -> Reading:
    job = page.job
    where = f", {label_of(job, act.act.device)}" if act.act.device else ""
    return Reading(
        words=f"{plain_words(act.act.kind)}{where}",
        ohm=ohm_figure(job, item, act),
        volts=volts_figure(job, item, act),
        misread=misread_figure(job, item, act),
        taken_for=plain_words(act.taken_for) if act.taken_for else "nothing promised",
        meant=" or ".join(sorted(plain_words(word) for word in act.meant)),
        right=act.right,
    )


def _circuit(page: Page, item: CircuitForecast, zones: list[str]) -> dict[str, Any]:
    circuit: Circuit = page.job.circuits[item.circuit]
    acts = [worst_act(item, kind) for kind, _ in READINGS]
    wrong = [act for act in item.acts if not act.right]
    worst = worst_of_all(item)
    if item.bands is None:
        verdict = "no bands"
    elif wrong:
        verdict = f"{len(wrong)} of {len(item.acts)} misread"
    else:
        verdict = "reads right" if (worst.misread or 0.0) < NEVER else "right, but not with every part"
    return {
        "key": item.circuit,
        "circuit": circuit,
        "zones": ", ".join(zones),
        "readings": [None if act is None else _reading(page, item, act) for act in acts],
        "verdict": verdict,
        "right": verdict == "reads right",
        "misread": misread_figure(page.job, item, worst),
    }


def _opened(page: Page, name: str) -> dict[str, Any]:
    """Return what an opened circuit shows: the picture of its bands, every act, how far it is from misreading."""
    item = next(found for found in page.appraisal.circuits if found.circuit == name)
    far = limits(page.job, item)
    return {
        "wide": circuit_bands(page.appraisal, name),
        "narrow": circuit_bands(page.appraisal, name, narrow=True),
        "acts": [_reading(page, item, act) for act in item.acts],
        "more_cable": page.quantity(far.extra_m.worst, "m") if far.extra_m is not None and far.extra_m.worst > 0 else "",
        "no_more": far.extra_m is not None and far.extra_m.worst <= 0,
        "leak_rest": page.quantity(far.leak_rest_ohm, "Ω"),
        "leak_alarm": page.quantity(far.leak_alarm_ohm, "Ω"),
    }
