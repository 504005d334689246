"""A detection circuit as a chain to be halved: its runs and devices in their order, and the terminals between them.

At a device the pair is lifted and read outwards: what lies beyond is sound when it reads what the design says, and the fault is then
nearer the control unit. So the meter goes along, and nobody walks back for every reading.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np

from loopwright.explain.along.halving import Place, Plan, Point, Split, along
from loopwright.explain.check import CheckKind
from loopwright.explain.circuit.check import label
from loopwright.explain.hypothesis import Floats, Part
from loopwright.explain.look import LADDER_MINUTES
from loopwright.job.document import Hop, Job
from loopwright.netlist.compile import LEAST_OHM
from loopwright.netlist.element import Element, Resistance
from loopwright.netlist.loop import ActKind, LoopNetwork, compile_loop, read_loops
from loopwright.values.figure import show
from loopwright.values.recent import Recent

WALK_M_PER_MIN = 25.0
"""How fast one gets along a cable's way, doors and stairs among it [m/min] (judgement)."""
READ_MINUTES, LID_MINUTES = 1.0, 2.0
"""Lifting two cores and reading outwards; opening a device and closing it again (judgement)."""
HIGHER = 1.02
LEAST_HIGHER_OHM = 5.0
"""A pair reads high from 2 per cent and five ohms above its design on: less is within the meter and the parts."""
WORTH_A_PLAN, FEWEST, WORTH_A_PLACE = 0.4, 3, 0.03
"""A plan is shown when an open or high contact in the chain is at least so likely and three places at least share it (choices)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Halving:
    """The plan of one circuit, and where one starts; ``chance`` is how likely it is that the fault is in the chain at all."""

    circuit: str
    plan: Plan
    chance: float = 1.0
    caution: str = ""

    def as_data(self) -> dict[str, Any]:
        """Return it for another program."""
        return {
            "circuit": self.circuit,
            "chance_in_the_chain": self.chance,
            "expected_visits": self.plan.expected_visits,
            "expected_minutes": self.plan.expected_min,
            "most_visits": self.plan.most_visits,
            "caution": self.caution,
            "places": [{"place": each.key, "words": each.words, "chance": each.chance} for each in self.plan.places],
            "first": split_data(self.plan, self.plan.start),
        }


def split_data(plan: Plan, split: Split | None) -> dict[str, Any] | None:
    """Return a test of a plan, and what follows from it, for another program."""
    if split is None:
        return None
    point = plan.points[split.at - 1]
    ends = {}
    for word, follows, at in (("when_sound_beyond", split.near, split.first), ("when_not", split.far, split.at)):
        ends[word] = split_data(plan, follows) if follows else {"place": plan.places[at].key, "words": plan.places[at].words}
    return {"do": point.words, "sound_beyond": point.sound, "needs": list(point.needs), "minutes": split.cost_min} | ends


def halving_of(job: Job, part: Part, weight: Floats) -> Halving | None:
    """Return the plan of a circuit whose pair reads open or high, from the probability of each of the part's variants.

    None where something else is likelier, or too few places share it.
    """
    chances = chances_at(part, weight)
    total = sum(chances.values())
    shared = [place for place, chance in chances.items() if chance >= WORTH_A_PLACE * total]
    if total < WORTH_A_PLAN or len(shared) < FEWEST:
        return None
    return plan_of(job, part.name.partition("/")[2], chances, total)


def chances_at(part: Part, weight: Floats) -> dict[str, float]:
    """Return for each run and device of a circuit's chain the weight of the variants there that read open or high at rest."""
    known = part.predicted
    column = next(n for n, check in enumerate(known.checks) if check.kind is CheckKind.OHM and check.act is ActKind.REST)
    rest = known.mean[:, column]
    high = np.isinf(rest) | (rest > HIGHER * rest[0] + LEAST_HIGHER_OHM)
    out: dict[str, float] = {}
    for row in np.flatnonzero((known.owner >= 0) & high).tolist() if math.isfinite(rest[0]) else ():
        place = part.hypotheses[int(known.owner[row])].place
        if place:
            out[place] = out.get(place, 0.0) + float(weight[row])
    return out


def prior_of(part: Part) -> Floats:
    """Return the weight of each variant of a part before anything is read: the catalogue's."""
    known = part.predicted
    own = np.array([hypothesis.weight for hypothesis in part.hypotheses] or [0.0])
    return np.where(known.owner >= 0, own[np.maximum(known.owner, 0)] * known.share, 0.0)


def plan_of(job: Job, circuit: str, chances: Mapping[str, float], chance: float = 1.0) -> Halving:
    """Return the plan along a circuit, ``chances`` by run and device. Raises KeyError when there is no such circuit."""
    steps = _steps(job, circuit)
    total = sum(chances.get(key, 0.0) for key, _, _ in steps) or 1.0
    places = [Place(key=key, words=words, chance=chances.get(key, 0.0) / total) for key, words, _ in steps]
    points = _points(job, circuit, [spot for _, _, spot in steps])
    ladder = any("ladder" in point.needs for point in points)
    return Halving(circuit=circuit, plan=along(places, points), chance=min(chance, 1.0), caution="ladder" if ladder else "")


Spot = tuple[int, bool]
"""A hop's number, and whether the device at its end is meant and not its run."""
POINTS = Recent[tuple[Point, ...]](most_names=16, each=1)
"""The tests along the circuits asked for last."""


def _steps(job: Job, circuit: str) -> list[tuple[str, str, Spot]]:
    out: list[tuple[str, str, Spot]] = []
    for number, hop in enumerate(job.circuits[circuit].path):
        out.append((hop.cable, f"run {hop.cable} and its terminals", (number, False)))
        if hop.device is not None:
            out.append((hop.device, f"{label(job, hop.device)}, its contacts", (number, True)))
    return out


def _points(job: Job, circuit: str, spots: Sequence[Spot]) -> Sequence[Point]:
    """Return the tests between neighbouring steps; those of the circuits asked for last are kept, whatever was read since."""
    if (known := POINTS.find(circuit, (job,))) is None:
        network = compile_loop(job, circuit)
        between = list(pairwise(spots))
        beyond = [float(reading.field_ohm[0]) for reading in read_loops([_beyond(network, spot[0], after) for spot, after in between])]
        known = tuple(_point(job, circuit, spot[0], after, ohm) for (spot, after), ohm in zip(between, beyond, strict=True))
        POINTS.put(circuit, (job,), known)
    return known


def _point(job: Job, circuit: str, number: int, after: Spot, beyond_ohm: float) -> Point:
    """Return the test between two neighbouring steps: at the device one of them is, or at the joint between two runs."""
    hop = job.circuits[circuit].path[number]
    climbs = _climbs(job, circuit, hop)
    return Point(
        words=_do(job, hop, after),
        at_min=_metres(job, circuit, number) / WALK_M_PER_MIN,
        minutes=READ_MINUTES,
        lid=job.cables[hop.cable].end,
        lid_min=LID_MINUTES + (LADDER_MINUTES if climbs else 0.0),
        sound=show(beyond_ohm, "Ω") if math.isfinite(beyond_ohm) else "over range",
        needs=("meter", "lid off", *(("ladder",) if climbs else ())),
    )


def _do(job: Job, hop: Hop, after: Spot) -> str:
    """Return what is done at the far end of a hop. With the lid off its switch is open, and has to be held where it is read through."""
    place = label(job, job.cables[hop.cable].end)
    if hop.device is None:
        return f"At {place}, part the pair and read outwards"
    if not after[1]:
        return f"At {place}, lift the pair that goes on and read it outwards"
    held = ", the lid switch held down" if "tamper" in hop.contacts else ""
    return f"At {place}, lift the pair that arrives and read outwards from its terminals{held}"


def _climbs(job: Job, circuit: str, hop: Hop) -> bool:
    """Return whether a note of the circuit or the device speaks of a ladder."""
    notes = [job.circuits[circuit].note, job.equipment[hop.device].note if hop.device else ""]
    return any("ladder" in note.casefold() for note in notes)


def _metres(job: Job, circuit: str, number: int) -> float:
    runs = [job.cables[hop.cable] for hop in job.circuits[circuit].path[: number + 1]]
    return sum(run.length_m + run.slack_m for run in runs)


def _beyond(network: LoopNetwork, number: int, after: Spot) -> LoopNetwork:
    """Return what lies beyond a step, read from there, as the design has it."""
    elements = {e.name: e for e in network.netlist.elements}
    outgoing = elements.get(f"{network.circuit}.{number + 1}.core-out")
    node = outgoing.a if not after[1] and isinstance(outgoing, Resistance) else f"{network.circuit}.{number}"
    nearer = {f"{network.circuit}.{n}.core-out" for n in range(number + 1)}
    back = {f"{network.circuit}.{n}.core-back" for n in range(number + 1)}
    kept: list[Element] = []
    for element in network.netlist.elements:
        if isinstance(element, Resistance) and element.name in back:
            kept.append(element._replace(ohm=LEAST_OHM))
        elif isinstance(element, Resistance) and (element.name in nearer or _joins_nearer(element, node, outgoing, after)):
            kept.append(element._replace(ohm=math.inf))
        elif element is network.pull_up:
            kept.append(network.pull_up._replace(a=node))
        else:
            kept.append(element)
    moved = replace(network, netlist=replace(network.netlist, elements=tuple(kept)), terminal=node, acts=network.acts[:1])
    return replace(moved, pull_up=network.pull_up._replace(a=node))


def _joins_nearer(element: Resistance, node: str, outgoing: object, after: Spot) -> bool:
    """Return whether an element hangs on the lifted terminal from the near side: everything but the outgoing run."""
    return not after[1] and node in (element.a, element.b) and element is not outgoing
