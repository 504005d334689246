"""How far the work has got: which steps of starting a system up are done, everywhere or at single places, and since when.

The stage of work says what is done as a rule; whoever stands in front of the system says where it is otherwise. The order of the steps
is one in which no step undoes an earlier one (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType

from loopwright.job.document import Job, Stage


class Step(StrEnum):
    """A step of starting a system up, in the order that avoids going round in circles."""

    WIRED = "devices wired"
    DEAD_CHECKS = "dead checks"
    MAINS = "mains on"
    EARTH = "earth joined"
    LIDS = "lids on"
    BUS = "bus list taken"
    NUMBERS = "supply numbers read"
    BATTERY = "battery connected"
    CLOCK = "clock set"
    INPUTS = "inputs programmed"
    OUTPUTS = "sounders connected"
    PATHS = "paths connected"
    REPORTS = "reporting programmed"
    CODES = "codes changed"
    MEMORY = "old events reset"
    LEFT_SERVICE = "service mode left"


ORDER = tuple(Step)

_LAST_STEP = {
    Stage.DESIGN: 0,
    Stage.BENCH: 0,
    Stage.FIRST_FIX: ORDER.index(Step.WIRED) + 1,
    Stage.POWER_UP: ORDER.index(Step.MAINS) + 1,
    Stage.ENROLLED: ORDER.index(Step.CLOCK) + 1,
    Stage.PROGRAMMED: ORDER.index(Step.CODES) + 1,
    Stage.PROVED: len(ORDER),
    Stage.IN_SERVICE: len(ORDER),
}


def steps_of(stage: Stage) -> frozenset[Step]:
    """Return the steps that are done once a stage of work is reached."""
    return frozenset(ORDER[: _LAST_STEP[stage]])


@dataclass(frozen=True, kw_only=True, slots=True)
class Situation:
    """What is done now. What is not said follows from ``stage``.

    ``said`` holds what somebody said of a step, for a place (``control``, ``c07``, ``control.sounders``, a path) or everywhere (empty
    place). ``since_mains_s`` [s] is how long the mains has been on, None when longer than anything waits for; ``charge`` is each
    battery's state of charge [1] by the supply it is in, full when nothing is said.
    """

    stage: Stage
    said: Mapping[tuple[Step, str], bool] = field(default_factory=lambda: MappingProxyType({}))
    since_mains_s: float | None = None
    charge: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))

    def done(self, step: Step, place: str = "") -> bool:
        """Return whether a step is done at a place: what was said of the place, else of the step, else what the stage says."""
        if (found := self.said.get((step, place))) is not None:
            return found
        if (found := self.said.get((step, ""))) is not None:
            return found
        return self.usual(step)

    def usual(self, step: Step) -> bool:
        """Return whether a step is done as a rule at this stage: where it is not, what shows for want of it is normal."""
        return step in steps_of(self.stage)

    def with_step(self, step: Step, place: str = "", *, done: bool = True) -> Situation:
        """Return the situation after a step was done at a place, or everywhere: then nothing is left of it at any place."""
        kept = {key: value for key, value in self.said.items() if key[0] is not step or (place and key[1] != place)}
        return Situation(
            stage=self.stage,
            said=MappingProxyType(kept | {(step, place): done}),
            since_mains_s=self.since_mains_s,
            charge=self.charge,
        )


def situation_of(job: Job) -> Situation:
    """Return the situation as the document tells it: its stage, with what it says of single pieces of equipment."""
    said: dict[tuple[Step, str], bool] = {}
    for name, item in job.equipment.items():
        if item.enrolled != "unknown":
            said[Step.BUS, name] = item.enrolled == "yes"
        if item.default_codes_changed != "unknown":
            said[Step.CODES, name] = item.default_codes_changed == "yes"
    return Situation(stage=job.stage, said=MappingProxyType(said))
