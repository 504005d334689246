"""Edits of the supply network, and notes of what the network has no element for."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from loopwright.explain.catalogue import Edit
from loopwright.job.sheet import LoadLaw
from loopwright.netlist.element import Contact, Element, Load, Netlist, Resistance

EXTRA_KNEE_V = 6.0


@dataclass(kw_only=True, slots=True)
class Changed:
    """A network under edit and the notes of what it has no element for, by supply and word."""

    elements: dict[str, Element]
    marks: dict[str, float] = field(default_factory=dict)

    def do_drop(self, name: str) -> None:
        """Take an element out."""
        self.elements.pop(name)

    def do_set(self, name: str, value: str, number: str) -> None:
        """Give an element's value another number."""
        fields: dict[str, Any] = {value: float(number)}
        self.elements[name] = self.elements[name]._replace(**fields)

    def do_times(self, name: str, value: str, factor: str) -> None:
        """Multiply an element's value."""
        self.do_set(name, value, f"{getattr(self.elements[name], value) * float(factor)!r}")

    def do_shift(self, name: str, value: str, by: str) -> None:
        """Add to an element's value."""
        self.do_set(name, value, f"{getattr(self.elements[name], value) + float(by)!r}")

    do_plus = do_shift

    def do_open(self, name: str) -> None:
        """Interrupt a wire."""
        old = self.elements[name]
        self.elements[name] = Resistance(name, old.a, old.b, math.inf)

    def do_add(self, name: str, ohm: str) -> None:
        """Add ohms to a wire."""
        old = self.elements[name]
        assert isinstance(old, Resistance | Contact)
        self.elements[name] = old._replace(ohm=old.ohm + float(ohm))

    def do_scale(self, name: str, factor: str) -> None:
        """Make a wire so many times its ohms."""
        self.do_times(name, "ohm", factor)

    def do_bridge(self, a: str, b: str, ohm: str) -> None:
        """Join two points."""
        name = f"bridge:{a}:{b}"
        self.elements[name] = Resistance(name, a, b, float(ohm))

    def do_move(self, name: str, a: str, b: str) -> None:
        """Connect a wire between other points."""
        self.elements[name] = self.elements[name]._replace(a=a, b=b)

    def do_load(self, a: str, b: str, amps: str) -> None:
        """Hang one more load on."""
        self.elements["extra"] = Load("extra", a, b, LoadLaw.CURRENT, (float(amps),) * 4, EXTRA_KNEE_V, 12.0)

    def do_mark(self, word: str, number: str) -> None:
        """Note what the network has no element for."""
        self.marks[word] = float(number)


def power_edited(netlist: Netlist, way: tuple[Edit, ...], names: Mapping[str, str]) -> tuple[Netlist, dict[str, float]]:
    """Return the network with one way of a fault in it, and its marks. Raises KeyError when an edit names no element."""
    work = Changed(elements={e.name: e for e in netlist.elements})
    for kind, *arguments in way:
        getattr(work, f"do_{kind}")(*(argument.format_map(names) for argument in arguments))
    return replace(netlist, elements=tuple(work.elements.values())), work.marks
