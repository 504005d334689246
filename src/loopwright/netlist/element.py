"""The elements of the network and their laws.

Theory (the long form with hand-solved circuits is ``docs/elements.md``). Every element joins two points and has a law
``i(v)``: the current [A] that flows through it from its first point to its second when ``v`` [V] stands across it in
that direction. All laws but one are made of at most three straight pieces, so that one table of slopes and offsets serves
the whole solver:

==============  =========================================================================================
resistance      ``v / ohm``; conductors, resistors, fuses, joints, contacts (closed: ``ohm``; open: nothing)
load, current   ``I`` above its minimum working volts ``k``, ``I v / k`` below: it turns ohmic, continuously
load, power     ``P / v`` above ``k``, ``P v / k**2`` below (the one curved law)
load, ohmic     ``I v / nominal``
source          gives ``(V0 - v) / R``, never less than 0 and never more than its limit
battery         gives ``(E - v) / R`` and never takes
diode           nothing below its drop, ``(v - drop) / R`` above
charger         takes ``(v - E) / R``, never less than 0 and never more than its limit
pull-up         gives ``(V0 - v) / R`` in both directions
==============  =========================================================================================

Every law but the resistance's carries in addition the slope :data:`LEAK_S`, so that no piece is exactly flat: a current limit facing
constant-current loads would otherwise have no solution between the pieces. It moves 14 nA at 14 V.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

from loopwright.job.sheet import LoadLaw

LEAK_S = 1e-9
"""Slope [S] added to every law that has a flat piece."""
NO_LIMIT_A = 1000.0
"""Stands for no limit at all [A] of what a charger lets into its battery, and keeps the law's pieces finite."""


class Resistance(NamedTuple):
    """A resistance [Ω] between two points; ``ohm`` infinite is an open core."""

    name: str
    a: str
    b: str
    ohm: float


class Contact(NamedTuple):
    """A switch between two points: ``ohm`` where ``closed`` (one truth a system state), open where not."""

    name: str
    a: str
    b: str
    ohm: float
    closed: tuple[bool, ...]


class Load(NamedTuple):
    """A load: ``amps`` [A] at ``nominal_v`` [V] in each system state; ohmic below ``knee_v`` [V]."""

    name: str
    a: str
    b: str
    law: LoadLaw
    amps: tuple[float, ...]
    knee_v: float
    nominal_v: float


class Source(NamedTuple):
    """A mains supply: ``open_v`` [V] behind ``ohm`` [Ω], at most ``limit_a`` [A]. Gives only."""

    name: str
    a: str
    b: str
    open_v: float
    ohm: float
    limit_a: float


class Battery(NamedTuple):
    """A battery: ``emf_v`` [V] behind ``inner_ohm`` and ``path_ohm`` [Ω]; ``cut_out_v`` [V] at its terminals ends discharge. Gives only."""

    name: str
    a: str
    b: str
    emf_v: float
    inner_ohm: float
    path_ohm: float
    cut_out_v: float


class Charger(NamedTuple):
    """The way current goes into a flat battery: ``(v - emf_v) / ohm``, between 0 and ``limit_a`` [A]."""

    name: str
    a: str
    b: str
    emf_v: float
    ohm: float
    limit_a: float


class Diode(NamedTuple):
    """A diode from ``a`` to ``b``: ``drop_v`` [V], then ``ohm`` [Ω]."""

    name: str
    a: str
    b: str
    drop_v: float
    ohm: float


class PullUp(NamedTuple):
    """A watching voltage ``open_v`` [V] behind ``ohm`` [Ω], linear both ways."""

    name: str
    a: str
    b: str
    open_v: float
    ohm: float


Element = Resistance | Contact | Load | Source | Battery | Charger | Diode | PullUp


@dataclass(frozen=True, kw_only=True, slots=True)
class Netlist:
    """A network: its elements, and the points that may serve as an island's 0 V, best first."""

    elements: tuple[Element, ...]
    references: tuple[str, ...] = ()
    title: str = field(default="", compare=False)

    def of(self, kind: type) -> list[Element]:
        """Return the elements of one kind, in order."""
        return [element for element in self.elements if type(element) is kind]

    def named(self, name: str) -> Element:
        """Return the element called ``name``. Raises KeyError when there is none."""
        for element in self.elements:
            if element.name == name:
                return element
        raise KeyError(name)

    def nodes(self) -> list[str]:
        """Return every point once, in order of first mention."""
        seen: dict[str, None] = dict.fromkeys(self.references)
        for element in self.elements:
            seen[element.a] = None
            seen[element.b] = None
        return list(seen)


class BatteryState(NamedTuple):
    """What the batteries are in a scenario: there or not, at the cut-out or not; ``emf_v`` [V] None is the sheet's."""

    present: bool = True
    at_cut_out: bool = False
    emf_v: float | None = None


class Scenario(NamedTuple):
    """One state of the system under one condition of its supplies."""

    name: str
    state: int
    mains: bool
    battery: BatteryState
    recharging: bool = False
