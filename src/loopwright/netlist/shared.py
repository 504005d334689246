"""What many variants of one circuit share: one table of elements, of which each variant changes a few.

An element is told by its name and its two points, so that one moved elsewhere is another line of the table, and conducts nothing
where it stood.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import compress
from operator import is_not

import numpy as np
from numpy.typing import NDArray

from loopwright.netlist.band import MOST_WIDTH
from loopwright.netlist.element import Element, Resistance
from loopwright.netlist.loop import LoopNetwork

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Key = tuple[str, str, str]
"""An element's name and its two points."""


class Shared:
    """The elements of all variants of a circuit, and what each is in every variant and every act.

    ``fit`` are the variants that share the first one's row of points, in order; ``alone`` are the others. ``ends`` are the points of each
    element, -1 the common one; ``cells`` where each stands in the row; ``named`` the elements of each name.
    """

    def __init__(self, networks: Sequence[LoopNetwork]) -> None:
        self.base = networks[0]
        self.index = {self.base.common: -1, self.base.terminal: 0}
        self.column: dict[Key, int] = {}
        self.ends: list[tuple[int, int]] = []
        self.named: dict[str, list[int]] = {}
        self.alone: list[int] = []
        self._found: list[tuple[int, int, float]] = []
        self._own: dict[int, list[tuple[int, int, float]]] = {}
        self._other: list[tuple[int, int]] = []
        fit = self._take_in(networks) if self._lay_out() else []
        self.alone = sorted(set(range(len(networks))) - set(fit))
        self.fit = np.array(fit, dtype=np.int64)
        self.pull_ohm = np.array([networks[row].pull_up.ohm for row in fit])
        self.pull_v = np.array([networks[row].pull_up.open_v for row in fit])
        self.width = max((abs(a - b) for a, b in self.ends if min(a, b) >= 0), default=0)
        self.width = max(self.width, 1)
        self.cells = [(column, (max(a, b), 0 if min(a, b) < 0 else abs(a - b))) for column, (a, b) in enumerate(self.ends) if a != b]
        self._number(len(fit))

    def conducts(self, column: int, begin: int, end: int) -> Floats | None:
        """Return what an element conducts [S] in the variants ``fit[begin:end]``, (variants, acts); None where it does in none."""
        at_rest = self.siemens[column, begin:end]
        moved, own = self._common.get(column, ()), self._own.get(column, ())
        acts = len(self.base.acts)
        if not (moved or own):
            return np.broadcast_to(at_rest[:, None], (end - begin, acts)) if at_rest.any() else None
        out = np.repeat(at_rest[:, None], acts, axis=1)
        for act, ohm in moved:
            out[:, act] = 1.0 / ohm
        first, last = np.searchsorted(self.other[0], (begin, end))
        row, act_of = self.other[0][first:last] - begin, self.other[1][first:last]
        out[row, act_of] = at_rest[row]
        for row_of, act, ohm in own:
            if begin <= row_of < end:
                out[row_of - begin, act] = 1.0 / ohm
        return out

    def _lay_out(self) -> bool:
        """Put the first network's elements and acts down; return whether its points lie in a row."""
        self._elements = self.base.netlist.elements
        for element in self._elements:
            if isinstance(element, Resistance):
                self._put(element)
        self._at = {name: columns[0] for name, columns in self.named.items()}
        self._common: dict[int, list[tuple[int, float]]] = {}
        self._acts_of: dict[str, list[int]] = {}
        for number, act in enumerate(self.base.acts):
            for name, ohm in act.changes:
                self._common.setdefault(self._at[name], []).append((number, ohm))
                self._acts_of.setdefault(name, []).append(number)
        return all(abs(a - b) <= MOST_WIDTH for a, b in self.ends if min(a, b) >= 0)

    def _put(self, element: Resistance) -> int:
        key = (element.name, element.a, element.b)
        if key not in self.column:
            for point in key[1:]:
                self.index.setdefault(point, len(self.index) - 1)
            self.column[key] = len(self.ends)
            self.named.setdefault(element.name, []).append(len(self.ends))
            self.ends.append((self.index[element.a], self.index[element.b]))
        return self.column[key]

    def _fits(self, element: Resistance) -> bool:
        """Return whether an element joins two points near each other in the row; new points stand at its end."""
        a, b = (self.index.get(point, len(self.index) - 1) for point in (element.a, element.b))
        return min(a, b) < 0 or abs(a - b) <= MOST_WIDTH

    def _take_in(self, networks: Sequence[LoopNetwork]) -> list[int]:
        """Note where each variant differs from the first; return those that share its row."""
        fit: list[int] = []
        base = self.base
        for number, network in enumerate(networks):
            alike = network.variables == base.variables and len(network.acts) == len(base.acts)
            if alike and (network.terminal, network.common) == (base.terminal, base.common):
                changed = self._changed(network.netlist.elements)
                if all(self._fits(element) for element in changed.values() if element is not None):
                    self._note(len(fit), network, changed)
                    fit.append(number)
        return fit

    def _changed(self, elements: Sequence[Element]) -> Mapping[Key, Resistance | None]:
        """Return the elements that are not those of the first network, None for one that is not there."""
        old = self._elements
        out: dict[Key, Resistance | None] = {}
        pairs = list(compress(zip(elements, old, strict=False), map(is_not, elements, old)))
        if len(elements) < len(old) or any(e.name != was.name for e, was in pairs):
            known = {e for e in elements if isinstance(e, Resistance)}
            pairs = [(e, e) for e in known]
            gone = [e for e in old if isinstance(e, Resistance) and e not in known]
        else:
            gone = [was for e, was in pairs if isinstance(was, Resistance)]
            pairs += [(e, e) for e in elements[len(old) :]]
        for was in gone:
            out[was.name, was.a, was.b] = None
        for e, _ in pairs:
            if isinstance(e, Resistance):
                out[e.name, e.a, e.b] = e
        return out

    def _note(self, row: int, network: LoopNetwork, changed: Mapping[Key, Resistance | None]) -> None:
        moved: dict[str, int] = {}
        for key, element in changed.items():
            column = self.column[key] if element is None else self._put(element)
            self._found.append((column, row, math.inf if element is None else element.ohm))
            if element is not None and self._at.get(key[0]) != column:
                moved[key[0]] = column
        other = {
            n
            for n, (act, was) in enumerate(zip(network.acts, self.base.acts, strict=True))
            if act is not was and act.changes != was.changes
        }
        other |= {act for name in moved for act in self._acts_of.get(name, ())}
        for act in sorted(other):
            self._other.append((row, act))
            for name, ohm in network.acts[act].changes:
                column = moved.get(name, self._at.get(name, -1))
                self._own.setdefault(column, []).append((row, act, ohm))

    def _number(self, variants: int) -> None:
        """Make arrays of what was noted."""
        at_rest = np.full(len(self.ends), math.inf)
        for element in self._elements:
            if isinstance(element, Resistance):
                at_rest[self.column[element.name, element.a, element.b]] = element.ohm
        ohm = np.repeat(at_rest[:, None], variants, axis=1)
        for column, row, value in self._found:
            ohm[column, row] = value
        self.siemens = 1.0 / ohm
        self.other = np.array(self._other, dtype=np.int64).reshape(-1, 2).T
