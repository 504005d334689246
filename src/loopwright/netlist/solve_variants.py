"""Many variants of one network solved at once: each differs from the first by a few elements, so all are columns of one run of the solver.

An element is told by its kind, its name and its two points. What a variant has not got conducts nothing in its columns. A variant that does
not settle with the others is solved by itself, by :func:`loopwright.netlist.solve.solve`, which all of this is held against.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loopwright.netlist.branch import Branches, branches
from loopwright.netlist.element import Contact, Element, Netlist, Resistance, Scenario
from loopwright.netlist.solve import Ints, Settled, Solution, SolveError, Work, solve

Floats = NDArray[np.float64]
Key = tuple[str, str, str, str]
WIRE = "wire"
NEVER_V = 1e9
"""Volts that no branch ever has, and still a number to reckon with."""


def solve_variants(netlists: Sequence[Netlist], scenarios: tuple[Scenario, ...]) -> list[Solution | None]:
    """Return the solution of each of ``netlists`` in every scenario, None for one that does not settle; the others are variants of the
    first."""
    together = _Together(netlists, scenarios)
    settled = together.settle_together()
    alone = {column // len(scenarios) for column in settled.left}
    return [
        _by_itself(netlist, scenarios) if number in alone else together.solution(number, settled) for number, netlist in enumerate(netlists)
    ]


def _by_itself(netlist: Netlist, scenarios: tuple[Scenario, ...]) -> Solution | None:
    try:
        return solve(netlist, scenarios)
    except SolveError:
        return None


@dataclass(kw_only=True, slots=True)
class _Difference:
    """What a variant has otherwise than the first network: elements, ``changed`` ones in their place, and those it has not got."""

    changed: list[Element] = field(default_factory=list)
    added: list[Element] = field(default_factory=list)
    gone: list[Element] = field(default_factory=list)

    @property
    def alike(self) -> bool:
        """Return whether the variant has the elements of the first network, whatever their values."""
        return not (self.added or self.gone)


def _difference(old: Sequence[Element], new: Sequence[Element]) -> _Difference:
    """Return what is different in ``new``; elements that stand in both stand in the same order."""
    out, at = _Difference(), 0
    for was in old:
        element = new[at] if at < len(new) else None
        if element is was:
            at += 1
        elif element is not None and _key(element) == _key(was):
            out.changed.append(element)
            at += 1
        else:
            out.gone.append(was)
            if element is not None and element.name == was.name:
                out.added.append(element)
                at += 1
    out.added += new[at:]
    return out


def _key(element: Element) -> Key:
    kind = WIRE if isinstance(element, Resistance | Contact) else type(element).__name__
    return kind, element.name, element.a, element.b


class _Together(Work):
    """A run of the solver over the elements of all variants: a column for each variant and scenario."""

    def __init__(self, netlists: Sequence[Netlist], scenarios: tuple[Scenario, ...]) -> None:
        self.netlists, self.own = netlists, scenarios
        base = netlists[0]
        self.different = [_difference(base.elements, netlist.elements) for netlist in netlists]
        extra = {_key(e): e for difference in self.different for e in difference.added}
        self.extra = tuple(e for key, e in extra.items() if key not in set(map(_key, base.elements)))
        super().__init__(replace(base, elements=base.elements + self.extra), scenarios * len(netlists))

    def _columns(self, variant: int) -> slice:
        return slice(variant * len(self.own), (variant + 1) * len(self.own))

    def _wire_conductance(self, wires: list[Any]) -> Floats:
        """Return (wires, columns) [S]: those of the first network, but for what each variant has otherwise."""
        self.wire_row = {_key(e): row for row, e in enumerate(wires)}
        out = np.tile(self._conductance_of(wires), len(self.netlists))
        out[len(wires) - len(list(_wires(self.extra))) :] = 0.0
        for variant, difference in enumerate(self.different):
            columns = self._columns(variant)
            for element in _wires(difference.gone):
                out[self.wire_row[_key(element)], columns] = 0.0
            there = list(_wires((*difference.changed, *difference.added)))
            if there:
                out[[self.wire_row[_key(e)] for e in there], columns] = self._conductance_of(there)
        return out

    def _conductance_of(self, wires: Sequence[Any]) -> Floats:
        with np.errstate(divide="ignore"):
            conductance = np.repeat(1.0 / np.array([[e.ohm] for e in wires], dtype=float).reshape(-1, 1), len(self.own), axis=1)
        for position, element in enumerate(wires):
            if type(element) is Contact:
                conductance[position] *= [element.closed[s.state] for s in self.own]
        return conductance

    def _laws(self) -> Branches:
        """Return the laws of all that is no resistance, for every variant."""
        law = branches(self.netlist, self.scenarios, self.index)
        row = self.branch_row = {_key(e): row for row, e in enumerate(law.elements)}
        for element in _branches(self.extra):
            _take_out(law, row[_key(element)], slice(None))
        changed = [(v, e) for v, d in enumerate(self.different) for e in _branches((*d.changed, *d.added))]
        for variant, difference in enumerate(self.different):
            for element in _branches(difference.gone):
                _take_out(law, row[_key(element)], self._columns(variant))
        # All that is changed anywhere in one table, of which each variant takes its own.
        small = branches(Netlist(elements=tuple(e for _, e in changed)), self.own, self.index)
        place = {id(e): row for row, e in enumerate(small.elements)}
        for variant, element in changed:
            _put_in(law, row[_key(element)], self._columns(variant), small, place[id(element)])
        return replace(law, curved=np.flatnonzero(np.any(law.power_w > 0.0, axis=1)))

    def solution(self, variant: int, settled: Settled) -> Solution:
        """Return the solution of one variant, of its own elements and points alone."""
        netlist, columns = self.netlists[variant], self._columns(variant)
        own = self.sound if self.different[variant].alike else self._own(netlist)
        law = own.laws(self.branches, columns, self._elements(variant, own))
        volts = settled.volts[own.nodes, columns]
        found = volts[law.a] - volts[law.b]
        return Solution(
            netlist=netlist,
            scenarios=self.own,
            index=own.index,
            volts=volts,
            island=self.island[own.nodes, columns],
            grounds=self.ground[own.nodes, columns],
            energised=self.energised[own.nodes, columns],
            branches=law,
            piece=law.locate(found),
            currents=law.current(found),
            conductance_s=self.wire_g[own.wires, columns],
        )

    @cached_property
    def sound(self) -> _Own:
        """Return the places of the first network's elements, which are those of every variant that has got the same ones."""
        return self._own(self.netlists[0])

    def _own(self, netlist: Netlist) -> _Own:
        keys = [_key(e) for e in netlist.elements]
        rows = sorted(self.branch_row[key] for key in keys if key in self.branch_row)
        nodes = netlist.nodes()
        return _Own(
            index={name: row for row, name in enumerate(nodes)},
            nodes=np.array([self.index[name] for name in nodes], dtype=np.int64),
            wires=np.array([self.wire_row[key] for key in keys if key in self.wire_row], dtype=np.int64),
            rows=np.array(rows, dtype=np.int64),
        )

    def _elements(self, variant: int, own: _Own) -> tuple[Any, ...]:
        """Return those elements of a variant that are no resistances, in the order of their laws."""
        difference = self.different[variant]
        values = {_key(e): e for e in (*difference.changed, *difference.added)}
        return tuple(values.get(_key(e), e) if values else e for e in (self.branches.elements[row] for row in own.rows.tolist()))


@dataclass(frozen=True, kw_only=True, slots=True)
class _Own:
    """Where the points, wires and branches of a variant stand among those of all."""

    index: dict[str, int]
    nodes: Ints
    wires: Ints
    rows: Ints

    def laws(self, law: Branches, columns: slice, elements: tuple[Any, ...]) -> Branches:
        """Return the laws of the variant's own branches, in its columns, between its own points."""
        place = np.zeros(self.nodes.max(initial=0) + 1, dtype=np.int64)
        place[self.nodes] = np.arange(self.nodes.size)
        names = tuple(e.name for e in elements)
        tables = {name: getattr(law, name)[:, self.rows, columns] for name in ("edge", "slope", "offset")}
        rows = {name: getattr(law, name)[self.rows, columns] for name in ("power_w", "joins", "gives", "start", "guess")}
        return replace(
            law,
            names=names,
            position={name: row for row, name in enumerate(names)},
            elements=elements,
            a=place[law.a[self.rows]],
            b=place[law.b[self.rows]],
            curved=np.flatnonzero(np.any(rows["power_w"] > 0.0, axis=1)),
            **tables,
            **rows,
        )


def _wires(elements: Iterable[Element]) -> Iterator[Resistance | Contact]:
    return (e for e in elements if isinstance(e, Resistance | Contact))


def _branches(elements: Iterable[Element]) -> Iterator[Element]:
    return (e for e in elements if not isinstance(e, Resistance | Contact))


def _take_out(law: Branches, row: int, columns: slice) -> None:
    """Let a branch conduct nothing, hold nothing and give nothing."""
    law.edge[:, row, columns] = NEVER_V
    for table in (law.slope, law.offset):
        table[:, row, columns] = 0.0
    law.power_w[row, columns] = 0.0
    law.joins[row, columns] = law.gives[row, columns] = False
    law.start[row, columns] = 0


def _put_in(law: Branches, row: int, columns: slice, other: Branches, other_row: int) -> None:
    """Take the law of a branch from another table."""
    for name in ("edge", "slope", "offset"):
        getattr(law, name)[:, row, columns] = getattr(other, name)[:, other_row]
    for name in ("power_w", "joins", "gives", "start", "guess"):
        getattr(law, name)[row, columns] = getattr(other, name)[other_row]
