"""The same network as a SPICE deck: one operating point a scenario, for anyone who wants to check it with another program.

The deck uses the very laws of :mod:`loopwright.netlist.element`, knees and leaks included, written as behavioural current sources.
Only points inside one island may be compared: a simulator silently puts 0 V where a reference is missing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from loopwright.job.sheet import LoadLaw
from loopwright.netlist.branch import END_OF_DISCHARGE_OHM
from loopwright.netlist.element import (
    LEAK_S,
    Battery,
    Charger,
    Contact,
    Diode,
    Element,
    Load,
    Netlist,
    PullUp,
    Resistance,
    Scenario,
    Source,
)

OPTIONS = ".options reltol=1e-9 abstol=1e-14 vntol=1e-12 gmin=1e-18 itl1=2000 itl2=2000"


def deck(netlist: Netlist, scenario: Scenario, *, grounds: tuple[str, ...], start_v: Mapping[str, float] | None = None) -> str:
    """Return a SPICE deck of ``netlist`` in ``scenario``.

    ``grounds`` are the reference points, one an island, as the solver chose them: each is tied to node 0 by 1 Ω, through
    which no current can flow. The node ``nK`` is the K-th of ``netlist.nodes()``. The control block prints the volts of
    every point, one to a line, with 15 digits. ``start_v`` gives volts to start the search from (a node set): a simulator
    that starts cold from an overloaded supply often fails to settle.
    """
    nodes = {name: f"n{position}" for position, name in enumerate(netlist.nodes())}
    lines = [f"* {netlist.title or 'network'}: {scenario.name}", OPTIONS]
    lines += [f"* {node} = {name}" for name, node in nodes.items()]
    for position, element in enumerate(netlist.elements):
        lines += _lines(element, position, nodes[element.a], nodes[element.b], scenario)
    lines += [f"Rground{position} {nodes[name]} 0 1" for position, name in enumerate(grounds)]
    lines += [f".nodeset v({nodes[name]})={volts!r}" for name, volts in (start_v or {}).items()]
    lines += [".control", "set numdgt=15", "op"] + [f"print v({node})" for node in nodes.values()] + [".endc", ".end"]
    return "\n".join(lines) + "\n"


def _lines(element: Element, position: int, a: str, b: str, scenario: Scenario) -> list[str]:
    if a == b:
        return []
    if isinstance(element, Resistance):
        return [] if math.isinf(element.ohm) else [f"R{position} {a} {b} {element.ohm!r}"]
    if isinstance(element, Contact):
        return [f"R{position} {a} {b} {element.ohm!r}"] if element.closed[scenario.state] else []
    leak = f"Rleak{position} {a} {b} {1 / LEAK_S!r}"
    law = _law(element, f"v({a},{b})", scenario)
    return [leak] if law is None else [leak, f"B{position} {a} {b} I={law}"]


def _law(element: Element, v: str, scenario: Scenario) -> str | None:
    """Return the current from the first point to the second as an expression in the volts ``v``; None when nothing flows."""
    if isinstance(element, Load):
        amps = element.amps[scenario.state]
        if amps == 0:
            return None
        if element.law is LoadLaw.RESISTIVE:
            return f"{amps / element.nominal_v!r}*{v}"
        if element.law is LoadLaw.CURRENT:
            return f"{amps!r}*min({v}/{element.knee_v!r},1)"
        watts, knee = amps * element.nominal_v, element.knee_v
        return f"({v} < {knee!r}) ? {watts / knee**2!r}*{v} : {watts!r}/max({v},{knee!r})"
    if isinstance(element, Source):
        return f"-min(max(({element.open_v!r}-{v})/{element.ohm!r},0),{element.limit_a!r})" if scenario.mains else None
    if isinstance(element, Battery):
        return _battery_law(element, v, scenario)
    if isinstance(element, Charger):
        return f"min(max(({v}-{element.emf_v!r})/{element.ohm!r},0),{element.limit_a!r})" if scenario.recharging else None
    if isinstance(element, Diode):
        return f"max(({v}-{element.drop_v!r})/{element.ohm!r},0)"
    if isinstance(element, PullUp):
        return f"({v}-{element.open_v!r})/{element.ohm!r}"
    raise TypeError(f"no law for {type(element).__name__}")


def _battery_law(element: Battery, v: str, scenario: Scenario) -> str | None:
    if not scenario.battery.present or scenario.recharging:
        return None
    path = max(element.path_ohm, END_OF_DISCHARGE_OHM)
    if scenario.battery.at_cut_out:
        emf, ohm = element.cut_out_v, path
    else:
        forced = scenario.battery.emf_v
        emf, ohm = element.emf_v if forced is None else forced, path + element.inner_ohm
    return f"-max(({emf!r}-{v})/{ohm!r},0)"
