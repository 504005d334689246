"""The supply network as a part that can be at fault: supplies, batteries, outputs and the runs that feed what was looked at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loopwright.explain.amount import ALONE, widened
from loopwright.explain.catalogue import Fault, of_group
from loopwright.explain.check import Check
from loopwright.explain.circuit.place import Spot
from loopwright.explain.hypothesis import Floats, Hypothesis, Part, Predicted
from loopwright.explain.look import looks_of
from loopwright.explain.power.check import SCENARIOS, power_checks
from loopwright.explain.power.edit import power_edited
from loopwright.explain.power.place import Focus, PowerPlaces, near
from loopwright.explain.power.reading import PowerReader, Supplied
from loopwright.job.document import Job
from loopwright.netlist.compile import PowerNetwork
from loopwright.netlist.element import Netlist
from loopwright.netlist.solve import Solution, SolveError
from loopwright.netlist.solve_variants import solve_variants

PART = "power"
MOST_WAYS = 16
NO_TROUBLE = 0.01
"""How often a keypad shows a trouble that this fault does not make (judgement)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class PowerVariant:
    """One hypothesis in one amount, solved. ``series`` is the same for variants that differ by a rising amount alone."""

    owner: int
    series: int = ALONE
    share: float
    present: float
    solved: Supplied
    trouble: Mapping[str, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class PowerPart:
    """The supply network near a focus as a part, and what leaves which devices without a supply, one a variant."""

    part: Part
    reader: PowerReader
    variants: tuple[PowerVariant, ...]

    def dark(self, devices: tuple[str, ...]) -> list[frozenset[str]]:
        """Return for each variant which of ``devices`` stand without a supply because of it; none for what is dark without a fault too."""
        sound = self.reader.dark(self.variants[0].solved, devices)
        return [self.reader.dark(variant.solved, devices) - sound for variant in self.variants]


def power_part(job: Job, network: PowerNetwork, focus: Focus) -> PowerPart:
    """Return the supply network near ``focus`` with all hypotheses there."""
    netlist = near(network, focus)
    places = PowerPlaces(job, network, focus, netlist)
    hypotheses, variants = power_variants(places, netlist)
    reader = PowerReader(job, {f"{m.equipment}.{m.load}": m for m in focus.landings})
    checks = power_checks(job, focus)
    owner = np.array([v.owner for v in variants])
    looks, chances = looks_of(PART, hypotheses, owner)
    predicted = _predicted(reader, variants, checks, looks, chances, owner)
    return PowerPart(
        part=Part(name=PART, hypotheses=tuple(hypotheses), predicted=predicted, hidden={}), reader=reader, variants=tuple(variants)
    )


def power_variants(places: PowerPlaces, netlist: Netlist) -> tuple[list[Hypothesis], list[PowerVariant]]:
    """Return every hypothesis of the supply network near a focus and every variant, the sound one first."""
    candidates = [(fault, spot) for fault in of_group("power") for spot in places.spots(fault.at) if spot.has(fault.needs)]
    edits = [_edits(fault, spot, netlist) for fault, spot in candidates]
    networks = [netlist, *(edit.netlist for own in edits for edit in own if edit.netlist is not netlist)]
    solved = iter(solve_variants(networks, SCENARIOS if places.focus.whole else SCENARIOS[:1]))
    sound = next(solved)
    if sound is None:
        raise SolveError(f"{netlist.title or 'network'}: no settled solution without a fault")
    variants = [_variant(_Edit(netlist=netlist, marks={}), sound, owner=-1, share=1.0, supply="")]
    hypotheses: list[Hypothesis] = []
    for (fault, spot), own in zip(candidates, edits, strict=True):
        # What is no edit of the network reads as the sound one.
        each = [(edit, sound if edit.netlist is netlist else next(solved)) for edit in own]
        settled = [(edit, solution) for edit, solution in each if solution is not None]
        if settled:
            weight = fault.weight / _shared(fault, places)
            share, supply, owner = 1.0 / len(settled), spot.names.get("s", ""), len(hypotheses)
            hypotheses.append(Hypothesis(fault=fault, part=PART, place=spot.place, words=spot.words, weight=weight))
            variants += [_variant(edit, solution, owner=owner, share=share, supply=supply, fault=fault) for edit, solution in settled]
    return hypotheses, variants


def _shared(fault: Fault, places: PowerPlaces) -> int:
    """Return among how many places a fault's weight is shared: those of one supply's runs and outputs, but each supply has its own."""
    return 1 if fault.at in ("supply", "battery") else max(len(places.spots(fault.at)), 1)


@dataclass(frozen=True, kw_only=True, slots=True)
class _Edit:
    """The network with a fault in it in one way and amount, and the marks; the sound one itself where only marks are made."""

    netlist: Netlist
    marks: Mapping[str, float]
    way: int = 0


def _edits(fault: Fault, spot: Spot, netlist: Netlist) -> list[_Edit]:
    amounts = [f"{number!r}" for number in fault.amount.numbers()] if fault.amount else [""]
    out = []
    for number, way in enumerate(fault.ways):
        for amount in amounts:
            changed, marks = power_edited(netlist, way, spot.names | {"x": amount})
            alike = all(edit[0] == "mark" for edit in way)
            out.append(_Edit(netlist=netlist if alike else changed, marks=marks, way=number))
    return out


def _variant(edit: _Edit, solution: Solution, *, owner: int, share: float, supply: str, fault: Fault | None = None) -> PowerVariant:
    return PowerVariant(
        owner=owner,
        series=owner * MOST_WAYS + edit.way if fault is not None and fault.amount else ALONE,
        share=share,
        present=fault.present if fault is not None else 1.0,
        solved=Supplied(netlist=edit.netlist, solution=solution, marks=edit.marks, supply=supply),
        trouble=fault.trouble if fault is not None else {},
    )


def _predicted(
    reader: PowerReader,
    variants: Sequence[PowerVariant],
    checks: tuple[Check, ...],
    looks: tuple[Check, ...],
    look_chances: dict[int, Floats],
    owner: NDArray[np.int64],
) -> Predicted:
    every, series = checks + looks, np.array([v.series for v in variants])
    mean, sd = np.full((len(variants), len(every)), np.nan), np.full((len(variants), len(every)), np.nan)
    chances = {len(checks) + number: values for number, values in look_chances.items()}
    for column, check in enumerate(checks):
        if check.unit:
            read = np.array([reader.read(variant.solved, check) for variant in variants])
            mean[:, column] = read[:, 0]
            sd[:, column] = widened(read[:, :1], read[:, 1:], series)[:, 0]
        else:
            yes = np.array([_trouble(variant, check) for variant in variants])
            chances[column] = np.stack((yes, 1 - yes), axis=1)
    return Predicted(
        checks=every,
        mean=mean,
        sd=sd,
        chances=chances,
        owner=owner,
        share=np.array([v.share for v in variants]),
        present=np.array([v.present for v in variants]),
    )


def _trouble(variant: PowerVariant, check: Check) -> float:
    """Return how likely the keypad shows a trouble of a supply under a variant; a fault of a run or output counts for the supplies near."""
    near_it = variant.solved.supply in ("", check.where)
    return variant.trouble.get(check.scenario, NO_TROUBLE) if near_it else NO_TROUBLE
