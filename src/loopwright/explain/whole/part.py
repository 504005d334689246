"""The whole as a part that can be at fault: what the network has no element for.

Users, what detectors truly see, programming, signalling, radio and the clock. A fault that undoes a step of the work makes the keypad
show what :mod:`loopwright.explain.expected.expect` says of that step; the rest stands with the fault as stated chances of words.
A detector that truly sees something makes its circuit read as operated. A fault of a circuit or a supply that is looked into beside
it moves the words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loopwright.explain.catalogue import Fault, faults
from loopwright.explain.check import Check, CheckKind
from loopwright.explain.expected.expect import shown_of_signalling, shown_of_unit
from loopwright.explain.expected.power import control_units
from loopwright.explain.expected.situation import Situation, Step
from loopwright.explain.expected.trouble import TroubleKind
from loopwright.explain.hypothesis import Floats, Hypothesis, Part, Predicted
from loopwright.explain.look import looks_of
from loopwright.explain.whole.place import SystemPlaces
from loopwright.explain.whole.scope import OPERATED, PART, Scope
from loopwright.explain.whole.word import Word, words
from loopwright.job.document import Job, Stage

SHOWN = 0.97
"""How often a keypad shows a trouble that is there (judgement)."""
BORNE_OUT = 5.0
"""How much more often a fault is there when the document itself says so (judgement)."""
FITFUL: Mapping[str, float | Mapping[str, float]] = {"alarms": 0.7, "hours": {"any time": 0.75}, "quiet": 0.1}
"""What a fault of a circuit that comes and goes says of its zone (judgement)."""
STEADY: Mapping[str, float | Mapping[str, float]] = {"alarms": 0.15, "wont-set": 0.5}
"""The same of one that stays."""
STEPS = {
    "clock": Step.CLOCK,
    "paths": Step.PATHS,
    "codes": Step.CODES,
    "memory": Step.MEMORY,
    "service": Step.LEFT_SERVICE,
    "reports": Step.REPORTS,
}
WORD_OF = {
    TroubleKind.CLOCK_NOT_SET: "clock",
    TroubleKind.PATH: "path",
    TroubleKind.FACTORY_CODES: "codes",
    TroubleKind.OLD_EVENTS: "memory",
    TroubleKind.SERVICE_MODE: "service",
    TroubleKind.REPORT: "report",
}
Says = Mapping[str, float | Mapping[str, float]]


@dataclass(frozen=True, kw_only=True, slots=True)
class SystemPart:
    """The whole as a part; ``operated`` is for each variant the circuit and the device that read as operated because of it, or None;
    ``moved`` the hidden row that a fault of another part, by its id and circuit, puts the whole in."""

    part: Part
    operated: tuple[tuple[str, str] | None, ...]
    moved: Mapping[tuple[str, str], int]

    def rows_by(self, part: Part) -> NDArray[np.int64]:
        """Return the hidden row of the whole that each variant of another part puts it in, -1 for none."""
        where = part.name.partition("/")[2]
        known = [self.moved.get((h.fault.id, where), -1) for h in part.hypotheses]
        return np.array([known[owner] if owner >= 0 else -1 for owner in part.predicted.owner.tolist()])

    def rows_of(self, part: Part) -> NDArray[np.int64]:
        """Return the hidden row of a circuit that each variant of the whole puts it in, -1 for none."""
        circuit = part.name.partition("/")[2]
        return np.array([part.operated.get(each[1], -1) if each and each[0] == circuit else -1 for each in self.operated])


def system_part(job: Job, scope: Scope, others: Sequence[Part]) -> SystemPart:
    """Return what of the whole ``scope`` names; ``others`` are the parts looked into beside it."""
    places = SystemPlaces(job, scope)
    hypotheses = _hypotheses(places, scope)
    says = [_says(job, hypothesis) for hypothesis in hypotheses]
    moved = _moved(job, scope, others)
    owner = np.array([-1, *range(len(hypotheses)), *(-2 for _ in moved)])
    checks = _checks(scope, says)
    looks, look_chances = looks_of(PART, hypotheses, owner)
    chances = {len(checks) + number: values for number, values in look_chances.items()}
    for column, check in enumerate(checks):
        word = words()[check.scenario]
        own = [_chances(places, word, check, hypothesis.place, some) for hypothesis, some in zip(hypotheses, says, strict=True)]
        hidden = [_chances(places, word, check, zone, some) for zone, some in moved.values()]
        chances[column] = np.array([word.unmoved, *own, *hidden])
    every = (*checks, *looks)
    nothing = np.full((owner.size, len(every)), np.nan)
    predicted = Predicted(
        checks=every,
        mean=nothing,
        sd=nothing,
        chances=chances,
        owner=owner,
        share=np.ones(owner.size),
        present=np.array([1.0, *(h.fault.present for h in hypotheses), *(1.0 for _ in moved)]),
    )
    first = 1 + len(hypotheses)
    reads = [places.devices.get(h.place) if h.fault.reads == OPERATED else None for h in hypotheses]
    return SystemPart(
        part=Part(name=PART, hypotheses=tuple(hypotheses), predicted=predicted, hidden={}, paired=False),
        operated=(None, *reads, *(None for _ in moved)),
        moved={key: first + number for number, key in enumerate(moved)},
    )


def _hypotheses(places: SystemPlaces, scope: Scope) -> list[Hypothesis]:
    out = []
    for fault in (faults()[name] for name in scope.faults):
        spots = [spot for spot in places.spots(fault.at) if spot.has(fault.needs)]
        for spot in spots:
            weight = fault.weight / len(spots) * (BORNE_OUT if fault.bears and spot.has((fault.bears,)) else 1.0)
            out.append(Hypothesis(fault=fault, part=PART, place=spot.place, words=spot.words, weight=weight))
    for fault in (faults()[name] for name in scope.other):
        out.append(Hypothesis(fault=fault, part=PART, place="", words=POOLED[fault.group], weight=fault.weight))
    return out


POOLED = {"power": "a supply of the premises", "circuit": "one of the circuits", "bus": "the bus", "sounder": "a sounder or its output"}


def _says(job: Job, hypothesis: Hypothesis) -> Says:
    """Return what a hypothesis says: the steps it undoes as the forecast of troubles shows them, then what stands with the fault."""
    out: dict[str, float | Mapping[str, float]] = {}
    for edit in (edit for way in hypothesis.fault.ways for edit in way if edit[0] == "undo"):
        out |= _undone(job, edit[1], hypothesis.place)
    return out | dict(hypothesis.fault.says)


def _undone(job: Job, word: str, place: str) -> dict[str, float]:
    """Return the keypad's words when a step of the work is not done at a place, all else as in service."""
    step = STEPS[word]
    units = control_units(job)
    own = place if place in (job.signalling.paths if step is Step.PATHS else units) else ""
    undone = Situation(stage=Stage.IN_SERVICE).with_step(step, own, done=False)
    now = [*shown_of_unit(job, undone, units), *shown_of_signalling(job, undone)]
    return {WORD_OF[trouble.kind]: SHOWN for trouble in now if trouble.kind in WORD_OF}


def _chances(places: SystemPlaces, word: Word, check: Check, place: str, says: Says) -> Floats:
    """Return the chance of each outcome of a word under what a fault at a place says."""
    if word.id not in says or not places.belongs(place, check.place):
        return word.unmoved
    return word.chances(says[word.id])


def _checks(scope: Scope, says: Sequence[Says]) -> tuple[Check, ...]:
    """Return the words to ask: those that were asked and, once one was, those that what is looked into speaks of."""
    asked = {word for each in says for word in each} | set(scope.said) if scope.said else set()
    out = []
    for word in (word for word in words().values() if word.id in asked):
        named = {"zone": scope.zones, "radio": scope.radio}.get(word.at, ())
        for place in named or ("",):
            out.append(told(word, place))
    return tuple(out)


def told(word: Word, place: str) -> Check:
    """Return the check that asks a word, of a place or of the whole."""
    return Check(
        kind=CheckKind.TOLD,
        where=PART,
        scenario=word.id,
        place=place,
        minutes=word.minutes,
        words=f"{word.asks}{f' ({place})' if place else ''}?",
        outcomes=word.outcomes,
        by=word.by,
    )


def _moved(job: Job, scope: Scope, others: Sequence[Part]) -> dict[tuple[str, str], tuple[str, Says]]:
    """Return what faults of other parts say of the words, by fault and circuit, with the zone each is seen of."""
    out: dict[tuple[str, str], tuple[str, Says]] = {}
    if not scope.said:
        return out
    for part in others:
        lead, _, where = part.name.partition("/")
        zone = next((name for name, each in job.zones.items() if each.circuit == where), "") if lead == "circuits" else ""
        for hypothesis in part.hypotheses:
            said = _of_other(hypothesis.fault, circuit=lead == "circuits")
            if said and scope.said & set(said):
                out.setdefault((hypothesis.fault.id, where), (zone, said))
    return out


def _of_other(fault: Fault, *, circuit: bool) -> Says:
    if not circuit:
        return fault.says
    return {**(FITFUL if fault.present < 1 else STEADY), **fault.says}
