"""Wiring faults as edits of the network: what a fault looks like is computed, never typed in."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from loopwright.netlist.element import Contact, Element, Netlist, PullUp, Resistance

BRIDGE_OHM = 0.05
"""Resistance [Ω] of two bare cores touching."""


@dataclass(frozen=True, slots=True)
class OpenCore:
    """The resistance or contact called ``name`` is interrupted."""

    name: str


@dataclass(frozen=True, slots=True)
class Bridge:
    """The points ``a`` and ``b`` touch, with ``ohm`` [Ω] between them."""

    a: str
    b: str
    ohm: float = BRIDGE_OHM


@dataclass(frozen=True, slots=True)
class Leak:
    """Damp between the points ``a`` and ``b``: ``ohm`` [Ω], usually thousands."""

    a: str
    b: str
    ohm: float


@dataclass(frozen=True, slots=True)
class ChangeOhm:
    """The resistance called ``name`` is ``ohm`` [Ω] instead: a corroded joint, a wrong resistor, a longer run."""

    name: str
    ohm: float


@dataclass(frozen=True, slots=True)
class StuckContact:
    """The contact called ``name`` no longer moves."""

    name: str
    closed: bool


@dataclass(frozen=True, slots=True)
class SwapEnds:
    """The element called ``name`` is connected the wrong way round."""

    name: str


@dataclass(frozen=True, slots=True)
class MoveEnds:
    """The element called ``name`` stands between other points: a resistor at the wrong end, a core in the wrong terminal."""

    name: str
    a: str
    b: str


Fault = OpenCore | Bridge | Leak | ChangeOhm | StuckContact | SwapEnds | MoveEnds


def apply(netlist: Netlist, *faults: Fault) -> Netlist:
    """Return ``netlist`` with the faults in it, one after the other. Raises KeyError when a fault names no element or point."""
    for fault in faults:
        netlist = _apply(netlist, fault)
    return netlist


def _apply(netlist: Netlist, fault: Fault) -> Netlist:
    if isinstance(fault, Bridge | Leak):
        known = set(netlist.nodes())
        for point in (fault.a, fault.b):
            if point not in known:
                raise KeyError(point)
        word = "bridge" if isinstance(fault, Bridge) else "leak"
        extra = Resistance(f"{word}:{fault.a}:{fault.b}", fault.a, fault.b, fault.ohm)
        return replace(netlist, elements=(*netlist.elements, extra))
    old = netlist.named(fault.name)
    new: Element
    if isinstance(fault, OpenCore):
        new = Resistance(old.name, old.a, old.b, math.inf)
    elif isinstance(fault, ChangeOhm):
        if not isinstance(old, Resistance | Contact | PullUp):
            raise KeyError(fault.name)
        new = old._replace(ohm=fault.ohm)
    elif isinstance(fault, StuckContact):
        if not isinstance(old, Contact):
            raise KeyError(fault.name)
        new = old._replace(closed=tuple(fault.closed for _ in old.closed))
    elif isinstance(fault, SwapEnds):
        new = old._replace(a=old.b, b=old.a)
    else:
        new = old._replace(a=fault.a, b=fault.b)
    return replace(netlist, elements=tuple(new if element is old else element for element in netlist.elements))
