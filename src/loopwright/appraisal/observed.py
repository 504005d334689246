"""Readings on record, each held against what it should have been.

A reading is kept as it was noted: a place, a state and a value in words. Where these name a circuit, a run, a device or an output of
the job and a quantity a meter shows, the forecast for that place and state stands beside it, and whether the reading agrees.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import NamedTuple

from loopwright.appraisal.appraise import Appraisal
from loopwright.circuits import forecast as circuits
from loopwright.circuits.forecast import ActForecast, CircuitForecast
from loopwright.job.document import Job, Observation
from loopwright.job.quantity import parse_quantity
from loopwright.netlist.loop import ActKind
from loopwright.power import forecast as power
from loopwright.power.forecast import LoadForecast, OutputForecast
from loopwright.power.reading import output_figure, output_volts_figure, supply_figure
from loopwright.values.figure import Figure, show

METER_SHARE = 0.01
LEADS_OHM, CIRCUIT_V = 0.3, 0.05
"""What a hand meter and its leads may add to what the parts' own tolerances allow: common practice, no source."""
POWER_SHARE, POWER_V = 0.02, 0.2
AMPS_SHARE, LEAST_A = 0.1, 0.005
"""How near volts and amperes are called as forecast; a choice of this program, since a sheet states no tolerance for them."""
_OVER = frozenset({"ol", "o.l", "over range", "overrange", "over load", "open", "open circuit", "infinite", "∞"})
_BARE = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)")
_KIND_OF_CURRENT = re.compile(r"\s+(?:dc|ac)$")
# How people name what was done, the first that fits; common practice, no source.
_ACTS = (
    ("pair lifted", ActKind.LIFTED),
    ("resistor missing", ActKind.NO_RESISTOR), ("no resistor", ActKind.NO_RESISTOR), ("lid", ActKind.LID_OPEN),
    ("tamper", ActKind.LID_OPEN), ("short", ActKind.SHORTED), ("cut", ActKind.CUT), ("fault", ActKind.FAULT), ("mask", ActKind.FAULT),
    ("all activ", ActKind.ALL_ACTIVATED), ("activ", ActKind.ACTIVATED), ("alarm", ActKind.ACTIVATED), ("open", ActKind.ACTIVATED),
    ("walk", ActKind.ACTIVATED),
)  # fmt: skip
_STATES = (("alarm", "alarm"), ("entry", "entry"), ("unset", "unset"), ("disarmed", "unset"), ("set", "set"), ("armed", "set"))
_CONDITIONS = (
    ("no battery", "mains-no-battery"), ("battery off", "mains-no-battery"), ("battery out", "mains-no-battery"),
    ("without battery", "mains-no-battery"), ("recharg", "recharging"), ("charging", "recharging"), ("cut-out", "battery-end"),
    ("cut out", "battery-end"), ("battery low", "battery-end"), ("on battery", "battery"), ("mains off", "battery"),
    ("no mains", "battery"),
)  # fmt: skip


class Verdict(StrEnum):
    """How a reading stands to its forecast."""

    AGREES = "as forecast"
    DIFFERS = "not as forecast"
    SILENT = "not compared"


@dataclass(frozen=True, kw_only=True, slots=True)
class Held:
    """A reading held against its forecast: the figure, where there is one, the verdict, and in words by how much or why not.

    ``subject`` is the row of the document it was taken at (``circuits/c11``); empty where the place names none.
    """

    figure: Figure | None
    verdict: Verdict
    words: str
    subject: str = ""


class _Place(NamedTuple):
    """What a reading was taken at: ``kind`` is circuit, run, output, load or device."""

    kind: str
    name: str


class _Expected(NamedTuple):
    """A figure, the bounds between which a reading agrees with it, and what else is to be said of a reading."""

    figure: Figure
    low: float
    high: float
    beyond: str = ""


def held_readings(appraisal: Appraisal) -> tuple[Held, ...]:
    """Return every reading on record, in the order of the document, held against the forecast."""
    return held_against(appraisal, appraisal.job.observations)


def held_against(appraisal: Appraisal, readings: Sequence[Observation]) -> tuple[Held, ...]:
    """Return readings, on record or not, each held against the forecast."""
    names = _names(appraisal.job)
    return tuple(_held(appraisal, item, names) for item in readings)


def _held(appraisal: Appraisal, item: Observation, names: Mapping[str, _Place]) -> Held:
    place = _place_in(item.where, names)
    if place is not None and _folded(item.where).startswith("across "):
        return _silent("what lies across one part alone is not compared")
    if place is None:
        return _silent("the place names no circuit, run, device or output of this job")
    part = {"circuit": "circuits", "run": "cables"}.get(place.kind, "equipment")
    return replace(_compared(appraisal, place, item, names), subject=f"{part}/{place.name.partition('.')[0]}")


def _compared(appraisal: Appraisal, place: _Place, item: Observation, names: Mapping[str, _Place]) -> Held:
    measured = measurement(item.reading)
    if isinstance(measured, str):
        return _silent(measured)
    value, unit = measured
    expected = _expected(appraisal, place, item, value, unit, names)
    if isinstance(expected, str):
        return _silent(expected)
    figure = expected.figure
    if figure.value is None:
        return Held(figure=figure, verdict=Verdict.SILENT, words=figure.why or "no volts are forecast in this state")
    verdict = Verdict.AGREES if expected.low <= value <= expected.high else Verdict.DIFFERS
    return Held(figure=figure, verdict=verdict, words="; ".join(part for part in (_apart(value, figure), expected.beyond) if part))


def _silent(why: str) -> Held:
    return Held(figure=None, verdict=Verdict.SILENT, words=why)


def _apart(value: float, figure: Figure) -> str:
    """Return by how much a reading differs from its figure; nothing where a difference means nothing."""
    if figure.value is None or math.isinf(value) or math.isinf(figure.value):
        if figure.value == value:
            return ""
        return "over range, which it should not be" if math.isinf(value) else "not over range, which it should be"
    off = value - figure.value
    share = f" ({off / figure.value:+.1%})" if figure.value else ""
    return f"{'+' if off >= 0 else '-'}{show(abs(off), figure.unit)}{share}"


def measurement(text: str) -> tuple[float, str] | str:
    """Return the value of a reading and its unit, Ω, V or A; or why it is none, in words.

    >>> measurement("3.31 kΩ"), measurement("10.1 V dc"), measurement("OL"), measurement("12")
    ((3310.0, 'Ω'), (10.1, 'V'), (inf, 'Ω'), 'the reading names no unit: write Ω, V or A behind it')
    """
    written = _KIND_OF_CURRENT.sub("", " ".join(text.split()))
    if written.casefold().rstrip(".") in _OVER:
        return (math.inf, "Ω")
    if _BARE.fullmatch(written):
        return "the reading names no unit: write Ω, V or A behind it"
    for unit in ("Ω", "V", "A"):
        try:
            return (parse_quantity(written, unit), unit)
        except ValueError:
            continue
    return "the reading is no number of ohms, volts or amperes"


def _names(job: Job) -> dict[str, _Place]:
    """Return what places may be called, folded; where two are called alike, an id goes before what people call a thing."""
    found: dict[str, _Place] = {}
    for zone in job.zones.values():
        if zone.circuit is not None:
            for text in (zone.text, f"zone {zone.number}"):
                found[_folded(text)] = _Place("circuit", zone.circuit)
    found |= {_folded(item.label): _Place("device", key) for key, item in job.equipment.items() if item.label}
    for key in job.equipment:
        sheet = job.sheet_of(key)
        found |= {_folded(f"{key}.{name}"): _Place("load", f"{key}.{name}") for name in sheet.loads}
        found |= {_folded(f"{key}.{name}"): _Place("output", f"{key}.{name}") for name in sheet.outputs}
    found |= {_folded(key): _Place("device", key) for key in job.equipment}
    found |= {_folded(key): _Place("run", key) for key in job.cables}
    found |= {_folded(key): _Place("circuit", key) for key in job.circuits}
    return found


def _folded(text: str) -> str:
    return " ".join(word.strip(",.;:()") for word in text.casefold().split())


def _place_in(text: str, names: Mapping[str, _Place], kinds: frozenset[str] = frozenset()) -> _Place | None:
    """Return the place a text names first, by the longest name that begins there."""
    words = _folded(text).split()
    for start in range(len(words)):
        for end in range(len(words), start, -1):
            place = names.get(" ".join(words[start:end]))
            if place is not None and (not kinds or place.kind in kinds):
                return place
    return None


def _said(text: str, words: tuple[tuple[str, str], ...], default: str) -> str:
    folded = " ".join(text.casefold().split())
    return next((meant for word, meant in words if word in folded), default)


def scenario_of(state: str) -> str:
    """Return the scenario a state in words means; unset and on mains where it says nothing else.

    >>> scenario_of("alarm, on mains"), scenario_of("set, mains off"), scenario_of("")
    ('alarm/mains', 'set/battery', 'unset/mains')
    """
    return f"{_said(state, _STATES, 'unset')}/{_said(state, _CONDITIONS, 'mains')}"


def _expected(
    appraisal: Appraisal, place: _Place, item: Observation, value: float, unit: str, names: Mapping[str, _Place]
) -> _Expected | str:
    """Return what a place should show in a state, or why there is no forecast of it."""
    if place.kind == "circuit":
        return _of_circuit(appraisal, place.name, item, value, unit, names)
    if place.kind == "output":
        return _of_output(appraisal, place.name, item, unit)
    load = next((each for each in appraisal.power.loads if _is_at(each, place)), None)
    # A device names its circuit where ohms are read, and where it is not fed at all.
    if place.kind == "device" and (unit == "Ω" or (unit == "V" and load is None)):
        circuit = next((key for key, each in appraisal.job.circuits.items() if any(hop.device == place.name for hop in each.path)), None)
        if circuit is not None:
            return _of_circuit(appraisal, circuit, item, value, unit, names)
    if unit == "A" and place.kind == "device":
        supply = next((each for each in appraisal.power.supplies if each.name == place.name), None)
        if supply is None:
            return "amperes are forecast at outputs and of supplies; name the output"
        return _near(supply_figure(appraisal.job, appraisal.power, supply, scenario_of(item.state)))
    if unit != "V":
        return "ohms are forecast of circuits, volts of devices and outputs"
    if load is None:
        return "nothing at this place is fed, so no volts are forecast; for a supply name the output, as control.aux-1"
    figure = power.volts_figure(appraisal.job, appraisal.power, load, scenario_of(item.state))
    short = f"less than the {load.draw.min_v:g} V it needs" if value < load.draw.min_v else ""
    return _near(figure)._replace(beyond=short)


def _is_at(load: LoadForecast, place: _Place) -> bool:
    """Return whether a supply input is the one a place means: of a run, the one it lands on."""
    landing = load.landing
    return place.name == {"load": load.name, "device": landing.equipment, "run": landing.runs[-1] if landing.runs else ""}[place.kind]


def _near(figure: Figure) -> _Expected:
    """Return a figure of the power forecast with how near a reading is called as forecast."""
    value = figure.value or 0.0
    room = max(POWER_V, POWER_SHARE * abs(value)) if figure.unit == "V" else max(LEAST_A, AMPS_SHARE * abs(value))
    return _Expected(figure, value - room, value + room)


def _of_output(appraisal: Appraisal, name: str, item: Observation, unit: str) -> _Expected | str:
    output: OutputForecast | None = next((each for each in appraisal.power.outputs if each.name == name), None)
    if output is None or unit not in ("V", "A"):
        return "volts and amperes are forecast at an output"
    figure = output_volts_figure if unit == "V" else output_figure
    return _near(figure(appraisal.job, appraisal.power, output, scenario_of(item.state)))


def _of_circuit(
    appraisal: Appraisal, name: str, item: Observation, value: float, unit: str, names: Mapping[str, _Place]
) -> _Expected | str:
    found = next(each for each in appraisal.circuits if each.circuit == name)
    act = _act(found, item, names)
    if act is None:
        return "this circuit has no such act"
    if unit == "Ω":
        taken = found.bands.taken_for(value) if found.bands is not None else None
        beyond = "" if found.bands is None else f"taken for {taken or 'nothing the sheet promises'}"
        low, high = act.low_ohm * (1 - METER_SHARE) - LEADS_OHM, act.high_ohm * (1 + METER_SHARE) + LEADS_OHM
        return _Expected(circuits.ohm_figure(appraisal.job, found, act), low, high, beyond)
    if unit == "V":
        low, high = (_divided(found, ohm) for ohm in (act.low_ohm, act.high_ohm))
        figure = circuits.volts_figure(appraisal.job, found, act)
        return _Expected(figure, low * (1 - METER_SHARE) - CIRCUIT_V, high * (1 + METER_SHARE) + CIRCUIT_V)
    return "amperes are not forecast of a circuit"


def _divided(item: CircuitForecast, ohm: float) -> float:
    """Return the volts at an input with this loop on it."""
    pull = item.network.pull_up
    return pull.open_v if math.isinf(ohm) else pull.open_v * ohm / (ohm + pull.ohm)


def _act(item: CircuitForecast, said: Observation, names: Mapping[str, _Place]) -> ActForecast | None:
    """Return the act a state in words means, at the device it or the place names; at rest where it says nothing else."""
    folded = " ".join(said.state.casefold().split())
    kind = next((kind for word, kind in _ACTS if word in folded), ActKind.REST) if "rest" not in folded.split() else ActKind.REST
    device = next((place.name for text in (said.state, said.where) if (place := _place_in(text, names, frozenset({"device"})))), None)
    acts = [act for act in item.acts if act.act.kind is kind]
    return next((act for act in acts if act.act.device == device), acts[0] if acts else None)
