"""From a figure's key back to the figure, so that its working can be opened long after the page was made."""

from __future__ import annotations

from collections.abc import Callable

from loopwright.appraisal.appraise import Appraisal
from loopwright.circuits import forecast as circuits
from loopwright.circuits.forecast import ActForecast, CircuitForecast
from loopwright.circuits.headroom import extra_cable_figure, leak_figure
from loopwright.circuits.misread import misread_figure
from loopwright.netlist.loop import ActKind
from loopwright.power import forecast as power
from loopwright.power.reach import reach_figure, reach_share, run_total_figure
from loopwright.power.reading import (
    cut_out_figure,
    first_short_figure,
    fitted_figure,
    least_figure,
    mains_figure,
    output_figure,
    output_volts_figure,
    supply_figure,
    worst_scenario,
)
from loopwright.power.standby import StandbyForecast, longest_figure, recharge_figure, required_figure
from loopwright.values.figure import Figure

_STANDBY: dict[str, Callable[..., Figure]] = {
    "required-ah": required_figure,
    "longest-h": longest_figure,
    "recharge-h": recharge_figure,
    "cut-out-h": cut_out_figure,
    "first-short-h": first_short_figure,
    "fitted-ah": fitted_figure,
}
_CIRCUIT: dict[str, Callable[..., Figure]] = {"ohm": circuits.ohm_figure, "circuit-volts": circuits.volts_figure, "misread": misread_figure}


def figure_of(appraisal: Appraisal, key: str) -> Figure | None:
    """Return the figure with this key, or None when the job has none such (any more)."""
    kind, _, rest = key.partition("/")
    name, _, place = rest.partition("/")
    try:
        if kind in _CIRCUIT:
            item = _circuit(appraisal, name)
            found: Figure | None = _CIRCUIT[kind](appraisal.job, item, _act(item, place))
        elif kind in _STANDBY:
            found = _STANDBY[kind](appraisal.job, _standby(appraisal, name))
        else:
            found = _power(appraisal, kind, name, place) or _headroom(appraisal, kind, name, place)
    except (KeyError, ValueError, StopIteration):
        found = None
    return found or next((figure for finding in appraisal.findings for figure in finding.figures if figure.key == key), None)


def _power(appraisal: Appraisal, kind: str, name: str, scenario: str) -> Figure | None:
    job, forecast = appraisal.job, appraisal.power
    match kind:
        case "volts":
            return power.volts_figure(job, forecast, forecast.load(name), scenario)
        case "output-a":
            return output_figure(job, forecast, next(item for item in forecast.outputs if item.name == name), scenario)
        case "output-v":
            return output_volts_figure(job, forecast, next(item for item in forecast.outputs if item.name == name), scenario)
        case "supply-a":
            return supply_figure(job, forecast, forecast.supply(name), scenario)
        case "mains-a":
            return mains_figure(job, forecast, forecast.supply(name), scenario)
        case "heat":
            return power.heat_w(job, forecast, name)
        case "va":
            return power.transformer_va(job, forecast, name)
        case "least-v":
            return least_figure(job, forecast.load(name))
    return None


def _headroom(appraisal: Appraisal, kind: str, name: str, place: str) -> Figure | None:
    """Return a figure that says how far something is from its limit."""
    job, forecast = appraisal.job, appraisal.power
    match kind:
        case "run-m":
            return run_total_figure(job, name)
        case "reach-m":
            load = forecast.load(place)
            scenario = worst_scenario(forecast, load)
            return scenario and reach_figure(job, forecast, name, load, scenario, reach_share(job, forecast, name, load, scenario)) or None
        case "extra-m":
            return extra_cable_figure(job, _circuit(appraisal, name))
        case "leak-rest":
            return leak_figure(job, _circuit(appraisal, name), ActKind.REST)
        case "leak-alarm":
            return leak_figure(job, _circuit(appraisal, name), ActKind.ACTIVATED)
    return None


def _circuit(appraisal: Appraisal, name: str) -> CircuitForecast:
    return next(item for item in (*appraisal.circuits, *appraisal.watches) if item.circuit == name)


def _act(item: CircuitForecast, place: str) -> ActForecast:
    kind, _, device = place.partition("/")
    return next(act for act in item.acts if act.act.kind == kind and (act.act.device or "") == device)


def _standby(appraisal: Appraisal, supply: str) -> StandbyForecast:
    return next(item for item in appraisal.standby if item.supply == supply)
