"""Taking over an unknown system: old pairs grouped by the resistors they have, and the fewest swaps to a set the new unit reads.

Whether a pair can stay as it is comes from its own readings and the bands of the unit's sheet, whatever its resistors are. Where the
sheet does not say that each input can be set for itself, all are taken to share one kind of circuit; that is a default, and is said.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from loopwright.circuits.forecast import BandTable, band_table
from loopwright.explain.old.pair import Guess, OldPair, PairState, guesses, span_of
from loopwright.job.sheet import InputsSheet, Reads, ResistorSet, Topology
from loopwright.values.figure import show

ONE_KIND = "All inputs are taken to share one kind of circuit: a default, where the sheet does not say otherwise."


@dataclass(frozen=True, kw_only=True, slots=True)
class Group:
    """Pairs that seem to have the same resistors standing the same way."""

    topology: Topology
    resistors: ResistorSet
    pairs: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Plan:
    """What has to be done to read every pair as one kind of circuit with one set of resistors.

    ``stay`` are pairs whose own readings fall into the right bands as they are; ``swap`` says for each other pair which resistors to fit
    that are not there; ``left_out`` are pairs that the unit has no input for.
    """

    topology: Topology
    resistors: ResistorSet
    stay: tuple[str, ...]
    swap: Mapping[str, tuple[str, ...]]
    left_out: tuple[str, ...]

    @property
    def swaps(self) -> int:
        """Return how many resistors have to be fitted or exchanged."""
        return sum(len(parts) for parts in self.swap.values())


@dataclass(frozen=True, kw_only=True, slots=True)
class TakeOver:
    """What was found out about old pairs, and the plans to take them over, the fewest swaps first.

    ``unexplained`` are pairs whose readings no wiring explains: look for a fault, or a second device, before anything is planned.
    """

    wired: Mapping[str, tuple[Guess, ...]]
    groups: tuple[Group, ...]
    unexplained: tuple[str, ...]
    plans: tuple[Plan, ...]

    def as_data(self) -> dict[str, Any]:
        """Return it for another program, units in the keys."""
        return {
            "pairs": {
                name: [
                    {"topology": str(each.topology), "odd": list(each.odd), "defaults": list(each.assumed)} | _ohms(each.resistors)
                    for each in ways
                ]
                for name, ways in self.wired.items()
            },
            "groups": [{"pairs": list(each.pairs), "topology": str(each.topology)} | _ohms(each.resistors) for each in self.groups],
            "unexplained": list(self.unexplained),
            "plans": [
                {"topology": str(plan.topology), "swaps": plan.swaps, "stay": list(plan.stay), "left_out": list(plan.left_out)}
                | {"swap": {name: list(parts) for name, parts in plan.swap.items()}}
                | _ohms(plan.resistors)
                for plan in self.plans
            ],
        }


def _ohms(resistors: ResistorSet) -> dict[str, float | None]:
    return {"end_ohm": resistors.end_ohm, "alarm_ohm": resistors.alarm_ohm, "fault_ohm": resistors.fault_ohm}


def _part_words(slot: str, ohm: float | None) -> str:
    return f"take out the {slot} resistor" if ohm is None else f"fit {slot} {show(ohm, 'Ω')}"


def plan_words(plan: Plan) -> tuple[str, ...]:
    """Return a plan in sentences."""
    ohms = {"end": plan.resistors.end_ohm, "alarm": plan.resistors.alarm_ohm, "fault": plan.resistors.fault_ohm}
    wanted = ", ".join(f"{name} {show(ohm, 'Ω')}" for name, ohm in ohms.items() if ohm is not None)
    out = [f"Kind of circuit: {plan.topology}{f', {wanted}' if wanted else ''}; {plan.swaps} resistors to fit, exchange or take out."]
    out.append(f"Stay as they are: {', '.join(plan.stay) or 'none'}.")
    for name, parts in plan.swap.items():
        do = " and ".join(_part_words(part, ohms[part]) for part in parts)
        out.append(f"{name}: {do or 'no resistor to change, and it does not read right yet: mend what is odd about it'}.")
    if plan.left_out:
        out.append(f"No input is left for {', '.join(plan.left_out)}.")
    return tuple(out)


def take_over(pairs: Sequence[OldPair], inputs: InputsSheet) -> TakeOver:
    """Return how old pairs are wired, and the plans for taking them over on a unit's inputs. Raises ValueError for a name used twice."""
    names = [pair.name for pair in pairs]
    if len(set(names)) != len(names):
        raise ValueError("Two pairs have the same name.")
    wired = {pair.name: guesses(pair) for pair in pairs}
    known = [pair for pair in pairs if wired[pair.name]]
    plans = [plan for topology in inputs.bands if (plan := _plan(known, wired, inputs, topology)) is not None]
    return TakeOver(
        wired=wired,
        groups=_groups(wired),
        unexplained=tuple(pair.name for pair in pairs if not wired[pair.name]),
        plans=tuple(sorted(plans, key=lambda plan: (len(plan.left_out), plan.swaps, tuple(Topology).index(plan.topology)))),
    )


def _groups(wired: Mapping[str, tuple[Guess, ...]]) -> tuple[Group, ...]:
    """Return the pairs by their likeliest wiring, the largest group first."""
    members: dict[tuple[Topology, ResistorSet], list[str]] = {}
    for name, found in wired.items():
        if found:
            members.setdefault((found[0].topology, found[0].resistors), []).append(name)
    made = [Group(topology=topology, resistors=resistors, pairs=tuple(names)) for (topology, resistors), names in members.items()]
    return tuple(sorted(made, key=lambda group: (-len(group.pairs), group.pairs)))


def _plan(pairs: Sequence[OldPair], wired: Mapping[str, tuple[Guess, ...]], inputs: InputsSheet, topology: Topology) -> Plan | None:
    """Return the plan for one kind of circuit; None when the sheet has no bands for it, or no resistors to swap to."""
    table = band_table(inputs, topology)
    wanted = ResistorSet() if topology is Topology.NONE else inputs.resistor_sets.get(topology)
    if table is None or wanted is None or topology is Topology.PAIR:
        return None
    stay = [pair.name for pair in pairs if _reads_right(pair, wired[pair.name][0], table, topology)]
    swap = {pair.name: _parts(wired[pair.name][0], wanted, topology) for pair in pairs if pair.name not in stay}
    served = [pair.name for pair in pairs][: inputs.count]
    return Plan(
        topology=topology,
        resistors=wanted,
        stay=tuple(name for name in stay if name in served),
        swap={name: parts for name, parts in swap.items() if name in served},
        left_out=tuple(pair.name for pair in pairs if pair.name not in served),
    )


def _reads_right(pair: OldPair, guess: Guess, table: BandTable, topology: Topology) -> bool:
    """Return whether every reading of a pair, to either end of its span, is taken for what it should be, and nothing is odd about it."""
    if guess.odd:
        return False
    if topology in (Topology.DOUBLE, Topology.TRIPLE) and guess.resistors.alarm_ohm is None:
        # Operated it reads open, which on such an input is a tamper: the device could not be told from a cut.
        return False
    return all(_meant(state, topology) is None or _lies_in(ohm, table, _meant(state, topology)) for state, ohm in pair.ohm.items())


def _meant(state: PairState, topology: Topology) -> frozenset[Reads] | None:
    """Return what a state is to be taken for; None where the kind of circuit has no say."""
    plain = topology in (Topology.NONE, Topology.SINGLE)
    return {
        PairState.REST: frozenset({Reads.REST}),
        PairState.ACTIVE: frozenset({Reads.OPEN, Reads.ACTIVE}) if plain else frozenset({Reads.ACTIVE}),
        PairState.LID_OPEN: frozenset({Reads.OPEN, Reads.ACTIVE}) if plain else frozenset({Reads.OPEN}),
        PairState.FAULT: frozenset({Reads.FAULT, Reads.BOTH}) if topology is Topology.TRIPLE else None,
        PairState.SHORTED: None if topology is Topology.NONE else frozenset({Reads.SHORT}),
    }[state]


def _lies_in(ohm: float, table: BandTable, meant: frozenset[Reads] | None) -> bool:
    if meant is None:
        return True
    low, high = span_of(ohm)
    edges_inside = any(low < edge <= high for edge in table.edges_ohm) if math.isfinite(high) else False
    return not edges_inside and table.taken_for(low) in meant and table.taken_for(high) in meant


def _parts(guess: Guess, wanted: ResistorSet, topology: Topology) -> tuple[str, ...]:
    """Return which resistors have to be fitted or taken out, those that are there already and wanted left alone."""
    odd_end = any("cabinet" in words for words in guess.odd)
    slots = {
        "end": (wanted.end_ohm, None if odd_end else guess.resistors.end_ohm),
        "alarm": (wanted.alarm_ohm, guess.resistors.alarm_ohm),
        "fault": (wanted.fault_ohm if topology is Topology.TRIPLE else None, guess.resistors.fault_ohm),
    }
    return tuple(slot for slot, (want, have) in slots.items() if want != have)
