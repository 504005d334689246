"""The wiring: cable runs with the volts at their far end, detection circuits with what a meter shows in every act."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any, NamedTuple

from loopwright.appraisal.trend import of_circuit, trends
from loopwright.circuits.forecast import ActForecast, CircuitForecast, limits, ohm_figure, volts_figure
from loopwright.circuits.headroom import MOST_BOAST_M, extra_cable_figure, leak_figure
from loopwright.circuits.misread import misread_figure, worst_act, worst_of_all
from loopwright.circuits.said import taken_words
from loopwright.drawing.circuit_bands import circuit_bands
from loopwright.job.document import Cable
from loopwright.job.speech import plain_words
from loopwright.netlist.loop import ActKind
from loopwright.power.forecast import LoadForecast, label_of, scenario_words
from loopwright.power.forecast import volts_figure as load_volts_figure
from loopwright.power.reach import MOST_REACH, reach_figure, reach_share, run_total_figure, thinnest_within
from loopwright.power.reading import least_figure, worst_scenario
from loopwright.values.figure import Figure
from loopwright.web.page import Page
from loopwright.web.rooms.readings import readings_at

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

    load: str
    label: str
    figure: Figure
    least: Figure
    when: str
    short: bool


class WouldDo(NamedTuple):
    """What would still do for a device at the end of a run: how long the run may be, or how thin its cable."""

    reach: Figure | None
    beyond: str
    gauge: str


class Reading(NamedTuple):
    """One act's reading on a circuit."""

    words: str
    ohm: Figure
    volts: Figure
    misread: Figure | None
    taken_for: str
    meant: str
    right: bool


class Pair(NamedTuple):
    """What a circuit's row shows of one act: ohms with both wires out, volts with the wires in place."""

    ohm: Figure
    volts: Figure


def view(page: Page) -> Mapping[str, Any]:
    """Return what the wiring room shows."""
    job, found = page.job, page.appraisal
    far: dict[str, list[FarEnd]] = {}
    for load in found.power.loads:
        if load.landing.runs:
            # What a device gets is said of the run it lands by; a data or circuit run to the same device carries none of it.
            far.setdefault(load.landing.runs[-1], []).extend(_far_end(page, load))
    zones: dict[str, list[str]] = {}
    for zone in job.zones.values():
        if zone.circuit is not None:
            zones.setdefault(zone.circuit, []).append(zone.text)
    page.plan((f"cables/{key}" for key in job.cables), below=ROOM_BELOW_PX)
    page.plan(f"circuits/{key}" for key in job.circuits)
    return {
        "runs": [_run(page, key, cable, far.get(key, [])) for key, cable in job.cables.items()],
        "circuits": [_circuit(page, item, zones.get(item.circuit, [])) for item in found.circuits],
        "readings": lambda subject: readings_at(page, subject),
        "heads": [words for _, words in READINGS],
        "opened": lambda name: _opened(page, name),
        "run_total": lambda key: run_total_figure(job, key),
        "would_do": lambda key, end: _would_do(page, key, end),
        "watches": [(_output_words(page, item), [_reading(page, item, act) for act in item.acts]) for item in found.watches],
    }


def _run(page: Page, key: str, cable: Cable, far: list[FarEnd]) -> tuple[Any, ...]:
    """Return a run, what it carries, what its far end gets, and everything its row is drawn from."""
    ends, sheets = page.words["places"], page.words["sheets/cables"]
    said = page.said(f"cables/{key}", "start", "end", "sheet", "length_m", "slack_m", "temperature_c")
    # Volts as they are shown: most runs of an output move by less than that when one of them does.
    gets = [(end.load, end.figure.key, end.figure.label, str(end.figure), str(end.least), end.short) for end in far]
    shows = (cable, said, ends.get(cable.start), ends.get(cable.end), sheets.get(cable.sheet), *gets)
    return key, cable, _carried(page, key, cable), far, shows


def _far_end(page: Page, load: LoadForecast) -> list[FarEnd]:
    job, forecast = page.job, page.appraisal.power
    scenario = worst_scenario(forecast, load)
    if scenario is None:
        return []
    short = bool(load.margin_v[forecast.column(scenario)] < 0)
    return [
        FarEnd(
            load=load.name,
            label=label_of(job, load.landing.equipment),
            figure=load_volts_figure(job, forecast, load, scenario),
            least=least_figure(job, load),
            when=scenario_words(scenario),
            short=short,
        )
    ]


def _would_do(page: Page, key: str, end: FarEnd) -> WouldDo:
    """Return what would still do for a run, in the scenario that is worst for the device at its end."""
    job, forecast = page.job, page.appraisal.power
    load = forecast.load(end.load)
    scenario = worst_scenario(forecast, load)
    if scenario is None:
        return WouldDo(None, "", "")
    share = reach_share(job, forecast, key, load, scenario)
    run = job.cables[key]
    gauge = thinnest_within(job, key, share)
    same = gauge is None or abs(gauge.area_mm2 - job.sheets.cables[run.sheet].gauge.area_mm2) < 1e-9
    beyond = " and more" if share is not None and share >= MOST_REACH else ""
    return WouldDo(reach_figure(job, forecast, key, load, scenario, share), beyond, "" if same else str(gauge))


def _output_words(page: Page, item: CircuitForecast) -> str:
    unit, _, terminal = item.circuit.partition(".")
    return f"{label_of(page.job, unit)}, {terminal}"


def _carried(page: Page, key: str, cable: Cable) -> str:
    """Return what an opened run carries, in words; nobody sees it of the others."""
    parts: list[str] = []
    if not page.is_open(f"d:cables/{key}"):
        return ""
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
        misread=misread_figure(job, item, act) if item.circuit in job.circuits else None,
        taken_for=taken_words(job, item.circuit, act.taken_for),
        meant=" or ".join(sorted(taken_words(job, item.circuit, word) for word in act.meant)),
        right=act.right,
    )


def _circuit(page: Page, item: CircuitForecast, zones: list[str]) -> tuple[str, tuple[object, ...], Callable[[], dict[str, Any]]]:
    """Return a circuit, everything its row is drawn from, and what gives the row's figures when it is drawn."""
    return item.circuit, (item.acts, item.bands is None, *zones), partial(_circuit_row, page, item, zones)


def _circuit_row(page: Page, item: CircuitForecast, zones: list[str]) -> dict[str, Any]:
    job, circuit = page.job, page.job.circuits[item.circuit]
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
        "readings": [None if act is None else Pair(ohm_figure(job, item, act), volts_figure(job, item, act)) for act in acts],
        "verdict": verdict,
        "right": verdict == "reads right",
        "misread": misread_figure(job, item, worst),
    }


def _opened(page: Page, name: str) -> dict[str, Any]:
    """Return what an opened circuit shows: the picture of its bands, every act, how far it is from misreading."""
    item = next(found for found in page.appraisal.circuits if found.circuit == name)
    job, far = page.job, limits(page.job, item)
    metres = far.extra_m.worst if far.extra_m is not None else None
    return {
        "wide": circuit_bands(page.appraisal, name),
        "narrow": circuit_bands(page.appraisal, name, narrow=True),
        "acts": [_reading(page, item, act) for act in item.acts],
        "trends": of_circuit(trends(page.appraisal), name) if job.observations else (),
        "more_cable": extra_cable_figure(job, item) if metres is not None and metres > 0 else None,
        "beyond": " and more" if metres is not None and metres > MOST_BOAST_M else "",
        "no_more": metres is not None and metres <= 0,
        "leak_rest": leak_figure(job, item, ActKind.REST),
        "leak_alarm": leak_figure(job, item, ActKind.ACTIVATED),
    }
