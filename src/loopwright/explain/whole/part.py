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
from loopwright.explain.hypothesis import Floats, Hypothesis, Part
from loopwright.explain.whole.place import SystemPlaces
from loopwright.explain.whole.scope import OPERATED, PART, Scope
from loopwright.explain.whole.word import Word, words
from loopwright.explain.whole.worded import worded
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

    def chances(_: int, check: Check) -> Floats:
        word = words()[check.scenario]
        own = [_chances(places, word, check, hypothesis, some) for hypothesis, some in zip(hypotheses, says, strict=True)]
        hidden = [_said(places, word, check, zone, some) for zone, some in moved.values()]
        return np.array([word.unmoved, *own, *hidden])

    reads = [_reads(places, hypothesis) for hypothesis in hypotheses]
    predicted = worded(PART, hypotheses, len(moved), _checks(scope), chances, [len(each) for each in reads])
    first = 1 + sum(len(each) for each in reads)
    return SystemPart(
        part=Part(name=PART, hypotheses=tuple(hypotheses), predicted=predicted, hidden={}, paired=scope.premises, worded=True),
        operated=(None, *(each for some in reads for each in some), *(None for _ in moved)),
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
        where = (ANOTHER if fault.group in scope.beside else POOLED)[fault.group]
        out.append(Hypothesis(fault=fault, part=PART, place="", words=where, weight=fault.weight))
    return out


def _reads(places: SystemPlaces, hypothesis: Hypothesis) -> tuple[tuple[str, str] | None, ...]:
    """Return the circuit and the device that read as operated in each variant of a hypothesis, None where nothing does."""
    if hypothesis.fault.reads != OPERATED:
        return (None,)
    return places.devices.get((hypothesis.fault.at, hypothesis.place)) or (None,)


POOLED = {"power": "a supply of the premises", "circuit": "one of the circuits", "bus": "the bus", "sounder": "a sounder or its output"}
ANOTHER = {"power": "another supply", "circuit": "another of the circuits", "bus": "the bus", "sounder": "another sounder or its output"}
"""The place of faults whose part is not looked into; of those of which another part of the kind is."""


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


def _chances(places: SystemPlaces, word: Word, check: Check, hypothesis: Hypothesis, says: Says) -> Floats:
    """Return the chance of each outcome of a word under a hypothesis."""
    # A zone's circuit is looked into, so what stands for the other circuits is not seen of that zone.
    if hypothesis.fault.group == "circuit" and word.at == "zone" and check.place:
        return word.unmoved
    return _said(places, word, check, hypothesis.place, says)


def _said(places: SystemPlaces, word: Word, check: Check, place: str, says: Says) -> Floats:
    """Return the chance of each outcome of a word under what a fault at a place says."""
    if word.id not in says or not places.belongs(place, check.place):
        return word.unmoved
    return word.chances(says[word.id])


def _checks(scope: Scope) -> tuple[Check, ...]:
    """Return the words to ask, each of every zone or radio device looked into."""
    out = []
    for word in (words()[name] for name in scope.asks):
        named = {"zone": scope.zones, "radio": scope.radio}.get(word.at, ())
        places = named if named or not scope.premises else ("",)
        if scope.loose and word.at == "zone" and named:
            places = (*named, "")
        out += [told(word, place) for place in places]
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
    asked = set(scope.asks)
    for part in others:
        lead, _, where = part.name.partition("/")
        zone = next((name for name, each in job.zones.items() if each.circuit == where), "") if lead == "circuits" else ""
        for hypothesis in part.hypotheses:
            said = _of_other(hypothesis.fault, circuit=lead == "circuits")
            if asked & set(said):
                out.setdefault((hypothesis.fault.id, where), (zone, said))
    return out


def _of_other(fault: Fault, *, circuit: bool) -> Says:
    if not circuit:
        return fault.says
    return {**(FITFUL if fault.present < 1 else STEADY), **fault.says}
