"""Capacitance of a circuit's field cores: how far a broken pair reaches from the control unit, in nanofarads.

Across a whole pair there is the end resistor, and a meter shows no capacitance there: that is over range. Behind a break there is nothing
left but cable, and of a broken run anything from none to all of it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from loopwright.explain.along.cable_fault import STRAY_NF, line_of
from loopwright.explain.hypothesis import Floats
from loopwright.job.document import Job
from loopwright.netlist.element import Resistance
from loopwright.netlist.loop import LoopNetwork

BARE_OHM = 1e6
"""From so many ohms [Ω] across it on, a pair's capacitance can be read (common practice, no source)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Drum:
    """What each run of a circuit has between two cores, by hop: nanofarads, and the spread of all of them as a share."""

    nf: tuple[float, ...]
    share: float


def drum_of(job: Job, circuit: str) -> Drum:
    """Return the capacitance of a circuit's runs, from their sheets or, where those are silent, a usual one."""
    nf, share = [], 0.0
    for hop in job.circuits[circuit].path:
        cable = job.cables[hop.cable]
        if cable.length_m + cable.slack_m <= 0:
            nf.append(0.0)
            continue
        line = line_of(job, hop.cable)
        nf.append(line.pf_per_m * line.length_m / 1000)
        share = max(share, line.pf_share)
    return Drum(nf=tuple(nf), share=share)


def capacitances(networks: Sequence[LoopNetwork], rest_ohm: Floats, drum: Drum) -> tuple[Floats, Floats]:
    """Return what a meter shows on the field cores at rest and its spread [nF], one a network; infinite where something is across them."""
    mean, sd = np.full(len(networks), math.inf), np.full(len(networks), STRAY_NF)
    reached: dict[int, tuple[float, float]] = {}
    for row in np.flatnonzero(~(rest_ohm < BARE_OHM)).tolist():
        # Many faults come to the same network, and then to the same object.
        if id(networks[row]) not in reached:
            reached[id(networks[row])] = _reach(networks[row], drum)
        mean[row], sd[row] = reached[id(networks[row])]
    return mean, sd


def _reach(network: LoopNetwork, drum: Drum) -> tuple[float, float]:
    elements = {e.name: e for e in network.netlist.elements if isinstance(e, Resistance)}
    first = elements.get(f"{network.circuit}.0.core-out")
    beside = _beside(elements.values())
    out = _joined(beside, first.a if first is not None else network.terminal)
    back = _joined(beside, network.common)
    total, square = 0.0, 0.0
    for number, nf in enumerate(drum.nf):
        shares = [
            _share(elements.get(f"{network.circuit}.{number}.{word}"), reached)
            for word, reached in (("core-out", out), ("core-back", back))
        ]
        share = min(shares)
        total += share * nf
        square += nf**2 / 12 if share == 0.5 else 0.0
    return total, math.sqrt(square + (drum.share * total) ** 2 + STRAY_NF**2)


def _share(core: Resistance | None, reached: set[str]) -> float:
    """Return how much of a core hangs on the meter: half on the mean where it is broken along the run."""
    if core is None or not {core.a, core.b} & reached:
        return 0.0
    return 1.0 if {core.a, core.b} <= reached and math.isfinite(core.ohm) else 0.5


def _beside(elements: Iterable[Resistance]) -> dict[str, list[str]]:
    """Return the points that each point is joined to."""
    beside: dict[str, list[str]] = {}
    for element in elements:
        if element.ohm < BARE_OHM:
            beside.setdefault(element.a, []).append(element.b)
            beside.setdefault(element.b, []).append(element.a)
    return beside


def _joined(beside: Mapping[str, Sequence[str]], start: str) -> set[str]:
    """Return the points that hang together with one."""
    found, left = {start}, [start]
    while left:
        for point in beside.get(left.pop(), ()):
            if point not in found:
                found.add(point)
                left.append(point)
    return found
