"""A leak to earth, and on which branch it is: the cables that leave a box are parted half by half while a meter watches volts to earth.

A leak holds the system's 0 V at a steady distance from earth; with the leaking cable parted, it drifts or falls away. Any cables can be
parted together, so the readings needed are few: about the logarithm of their number, fewer where the likely ones are tried first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from loopwright.explain.along.chain import split_data
from loopwright.explain.along.halving import Place, Plan, Point, apart
from loopwright.explain.circuit.check import label
from loopwright.job.document import Cable, Job
from loopwright.job.sheet import Kind

READ_MINUTES = 2.0
"""Reading two volts to earth and waiting for them to settle (judgement)."""
CORE_MINUTES = 0.2
"""Parting one core and putting it back (judgement)."""
END_M = 10.0
"""A termination is as likely to leak as so many metres of run (judgement): most are pinched at a box."""
OUTDOOR_SHARE = 3.0
"""Outdoors, or where it is damp, a metre is so many times as likely to leak (judgement)."""
CABINET_M = 10.0
"""The box itself, its earth lead and battery, counts as so many metres of run (judgement)."""
DAMP = (
    "outdoor", "outside", "yard", "garage", "garden", "gate", "roof", "loft", "cellar", "basement", "damp", "shed", "porch", "street",
)  # fmt: skip
"""Words in the name of a room or a label that speak of weather or damp (common practice, no source)."""
STOP = (
    "Stop when one cable is left, and follow it: part it half-way and read the cores of each half to earth, both ends lifted.",
    "Stop, and put everything back, when the volts do not change with any half parted: there are two leaks, or it is in the box.",
    "Stop, touch nothing and call a licensed person when there is ac to earth, or more volts than the supply gives: that is mains.",
)
"""When to stop halving (common practice, no source)."""
WATCH = "Volts from 0 V to earth and from plus to earth, dc. A leak holds one of them steady; parted, both drift or fall away."
CAUTION = "mains; noise"
"""The earth joint itself is for licensed people; a sounder with cells of its own sounds when its cable is parted."""


@dataclass(frozen=True, kw_only=True, slots=True)
class EarthPlan:
    """The plan at one box; ``runs`` are the cables that leave it, in the order in which they are tried. The box itself comes last."""

    box: str
    words: str
    runs: tuple[str, ...]
    plan: Plan
    further: tuple[str, ...]

    def as_data(self) -> dict[str, Any]:
        """Return it for another program."""
        return {
            "box": self.box,
            "branches": len(self.plan.places),
            "expected_visits": self.plan.expected_visits,
            "expected_minutes": self.plan.expected_min,
            "most_visits": self.plan.most_visits,
            "watch": WATCH,
            "stop": list(STOP),
            "caution": CAUTION,
            "places": [{"place": each.key, "words": each.words, "chance": each.chance} for each in self.plan.places],
            "first": split_data(self.plan, self.plan.start),
            "boxes_beyond": list(self.further),
        }


def boxes(job: Job) -> tuple[str, ...]:
    """Return the places from which more than one cable leaves, those with a supply of their own first, the most cables first."""
    count = {name: len(runs_from(job, name)) for name in (*job.equipment, *job.joints)}
    many = [name for name, runs in count.items() if runs > 1]
    supplied = {name for name in many if name in job.equipment and job.sheet_of(name).supply is not None}
    return tuple(sorted(many, key=lambda name: (name not in supplied, -count[name])))


def runs_from(job: Job, box: str) -> tuple[str, ...]:
    """Return the cables that leave a box on the side away from the control unit."""
    return tuple(name for name, cable in job.cables.items() if cable.start == box)


def earth_plan(job: Job, box: str) -> EarthPlan:
    """Return the plan for a leak to earth somewhere on the cables of ``box``. Raises KeyError when no cable leaves it."""
    chance = {run: _metres(job, run, frozenset()) for run in runs_from(job, box)}
    if not chance:
        raise KeyError(box)
    minutes = {run: CORE_MINUTES * _cores(job, run) for run in chance}
    runs = tuple(sorted(chance, key=lambda run: -chance[run] / minutes[run]))
    total = sum(chance.values()) + CABINET_M
    places = [Place(key=run, words=_run_words(job, run), chance=chance[run] / total) for run in runs]
    places.append(Place(key=box, words=f"the box of {label(job, box)} itself: supply, battery, earth lead", chance=CABINET_M / total))
    points = [_point(runs, number) for number in range(1, len(places))]
    plan = apart(places, points, [*(minutes[run] for run in runs), math.inf], READ_MINUTES)
    further = tuple(run_end for run in runs if runs_from(job, run_end := job.cables[run].end))
    return EarthPlan(box=box, words=label(job, box), runs=runs, plan=plan, further=further)


def _point(runs: Sequence[str], number: int) -> Point:
    some = f"cable 1 of the list ({runs[0]})" if number == 1 else f"cables 1 to {number} of the list"
    return Point(words=f"With {some} parted and the rest in, read the volts to earth", needs=("meter", "lid off"))


def _metres(job: Job, run: str, passed: frozenset[str]) -> float:
    """Return the metres of a run and of all that hangs on it, those outdoors and the ends counting for more."""
    cable = job.cables[run]
    own = (cable.length_m + cable.slack_m + END_M) * (OUTDOOR_SHARE if _is_damp(job, cable) else 1.0)
    return own + sum(_metres(job, beyond, passed | {run}) for beyond in runs_from(job, cable.end) if beyond not in passed)


def _is_damp(job: Job, cable: Cable) -> bool:
    rooms = {key: room.name for storey in job.storeys.values() for key, room in storey.rooms.items()}
    for place in (cable.start, cable.end):
        item = job.equipment.get(place)
        joint = job.joints.get(place)
        room = item.room if item is not None else joint.room if joint is not None else None
        words = " ".join((rooms.get(room or "", ""), item.label if item is not None else "", place)).casefold()
        if any(word in words for word in DAMP):
            return True
        if place == cable.end and item is not None and job.sheet_of(place).kind is Kind.SOUNDER and job.sheet_of(place).self_powered:
            return True
    return False


def _cores(job: Job, run: str) -> int:
    cable = job.cables[run]
    pairs = sum(1 for circuit in job.circuits.values() for hop in circuit.path if hop.cable == run)
    return max(sum(feed.cores + feed.cores_back for feed in cable.feeds) + 2 * pairs + cable.zero_v_cores + 2 * cable.bus, 2)


def _run_words(job: Job, run: str) -> str:
    cable = job.cables[run]
    metres = cable.length_m + cable.slack_m
    # A box with two cables to it stays joined to earth through the other one.
    also = [name for name, other in job.cables.items() if other.end == cable.end and other.start != cable.start]
    also = [] if cable.end in job.joints else also
    words = f"{run}, {metres:g} m to {label(job, cable.end)}{', outdoors or damp' if _is_damp(job, cable) else ''}"
    return f"{words}; part {' and '.join(also)} with it, from elsewhere to the same place" if also else words
