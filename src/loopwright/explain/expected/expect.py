"""What should show now: the troubles of a system at its stage of work, in the order in which they are best cleared.

A trouble is normal when it shows for want of a step that is not done as a rule at this stage; what is wrong with the design itself
is never normal. With every step done and nothing to wait for, a sound design shows nothing (a test holds that).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from loopwright.circuits.forecast import CircuitForecast
from loopwright.explain.expected import circuits as expected_circuits
from loopwright.explain.expected import power as expected_power
from loopwright.explain.expected.situation import ORDER, Situation, Step
from loopwright.explain.expected.trouble import Lore, Trouble, TroubleKind, for_want_of, lore
from loopwright.job.document import Job
from loopwright.job.sheet import Kind
from loopwright.power.forecast import PowerForecast, label_of
from loopwright.power.standby import StandbyForecast


@dataclass(frozen=True, kw_only=True, slots=True)
class Expectation:
    """The troubles that should show in a situation, in the order in which they are best cleared."""

    situation: Situation
    troubles: tuple[Trouble, ...]

    @property
    def next_step(self) -> Step | None:
        """Return the first step, in the order that avoids loops, that would clear something; None when only waiting or repair is left."""
        return next((step for step in ORDER if any(trouble.step is step for trouble in self.troubles)), None)

    def cleared_by(self, step: Step) -> tuple[Trouble, ...]:
        """Return the troubles a step clears."""
        return tuple(trouble for trouble in self.troubles if trouble.step is step)

    @property
    def waiting(self) -> tuple[Trouble, ...]:
        """Return the troubles that go by themselves."""
        return tuple(trouble for trouble in self.troubles if trouble.wait_s is not None)

    @property
    def defects(self) -> tuple[Trouble, ...]:
        """Return the troubles that no step of the work clears: the design is wrong."""
        return tuple(trouble for trouble in self.troubles if trouble.defect)


@dataclass(frozen=True, kw_only=True, slots=True)
class Shown:
    """A trouble somebody reads off a keypad: its kind, and the place it names, as a document path or empty where it names none."""

    kind: TroubleKind
    place: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Split:
    """What shows against what should: what is both, what shows and should not, what should show and does not.

    ``stale`` are troubles that show although their cause reads good, and whose kind may stay lit for a while or until it is reset.
    """

    expected: tuple[Trouble, ...]
    unexpected: tuple[Shown, ...]
    missing: tuple[Trouble, ...]
    stale: tuple[tuple[Shown, Lore], ...]


def expect(
    job: Job,
    situation: Situation,
    *,
    power: PowerForecast,
    circuits: Sequence[CircuitForecast],
    watches: Sequence[CircuitForecast],
    standby: Sequence[StandbyForecast] = (),
) -> Expectation:
    """Return what should show now. Everything physical comes from the forecasts handed in."""
    live = expected_power.powered(job, power.network, situation)
    alive = [name for name in expected_power.control_units(job) if name in live]
    found: list[Trouble] = list(expected_power.dead_supplies(job, situation))
    if alive:
        reached = frozenset(name for name in live if not job.sheet_of(name).addressed or situation.done(Step.BUS, name))
        found += expected_power.mains_and_earth(job, situation, live)
        found += expected_power.batteries(job, situation, live, standby)
        found += expected_power.overloads(job, power, live)
        found += expected_power.bus(job, situation, live)
        found += _lids(job, situation, reached)
        found += expected_circuits.circuits(job, situation, circuits, reached)
        found += expected_circuits.unused_inputs(job, situation, reached)
        found += _sounders(job, situation, watches, live)
        found += shown_of_signalling(job, situation)
        found += shown_of_unit(job, situation, alive)
    return Expectation(situation=situation, troubles=tuple(sorted(found, key=_rank)))


def compare(expectation: Expectation, shown: Collection[Shown]) -> Split:
    """Return what shows split by what should show. A shown trouble that names no place meets any of its kind."""
    met: list[Trouble] = []
    unmet: list[Shown] = []
    for each in shown:
        fits = [trouble for trouble in expectation.troubles if trouble.kind is each.kind and each.place in ("", trouble.place)]
        met += [trouble for trouble in fits if trouble not in met]
        if not fits:
            unmet.append(each)
    stale = [(each, lore()[each.kind]) for each in unmet if lore()[each.kind].stays]
    return Split(
        expected=tuple(trouble for trouble in expectation.troubles if trouble in met),
        unexpected=tuple(unmet),
        missing=tuple(trouble for trouble in expectation.troubles if trouble.sure and trouble not in met),
        stale=tuple(stale),
    )


def _rank(trouble: Trouble) -> tuple[int, int, str]:
    step = ORDER.index(trouble.step) if trouble.step is not None else len(ORDER)
    return (step, tuple(TroubleKind).index(trouble.kind), trouble.place)


def _lids(job: Job, situation: Situation, reached: frozenset[str]) -> Iterator[Trouble]:
    """Yield lids that are off where the lid's switch does not stand in a detection circuit."""
    in_circuits = {hop.device for circuit in job.circuits.values() for hop in circuit.path if "tamper" in hop.contacts}
    for name in job.equipment:
        sheet = job.sheet_of(name)
        watched = "tamper" in sheet.contacts or sheet.kind is Kind.CONTROL
        if name in reached and watched and (sheet.addressed or sheet.kind is Kind.CONTROL) and name not in in_circuits:
            if not situation.done(Step.LIDS, name):
                words = f"The lid of {label_of(job, name)} is off."
                yield for_want_of(situation, Step.LIDS, TroubleKind.LID_OPEN, words, unit=name)


def _sounders(job: Job, situation: Situation, watches: Sequence[CircuitForecast], live: frozenset[str]) -> Iterator[Trouble]:
    """Yield outputs that watch a cable and do not find its resistor, and sounders that miss their hold-off."""
    for item in watches:
        unit, _, output = item.circuit.partition(".")
        if unit not in live:
            continue
        done = situation.done(Step.OUTPUTS, item.circuit)
        if done and item.rest.right:
            continue
        told = "its cable and resistor are not on yet" if not done else f"it reads {item.rest.taken_for or 'nothing its sheet promises'}"
        yield Trouble(
            kind=TroubleKind.SOUNDER_CIRCUIT,
            place=f"equipment/{unit}",
            sentence=f"Output {output} of {label_of(job, unit)}: {told}.",
            normal=not done and not situation.usual(Step.OUTPUTS),
            step=None if done else Step.OUTPUTS,
            at=item.circuit,
            defect=done,
        )
    for name in job.equipment:
        if job.sheet_of(name).self_powered and not situation.done(Step.OUTPUTS, name):
            words = f"{label_of(job, name)} sounds if its own battery is connected before its hold-off supply."
            yield for_want_of(situation, Step.OUTPUTS, TroubleKind.SOUNDER_SOUNDS, words, unit=name, sure=False)


def shown_of_signalling(job: Job, situation: Situation) -> Iterator[Trouble]:
    """Yield what shows of transmission paths and of reports."""
    for name, path in job.signalling.paths.items():
        if not situation.done(Step.PATHS, name):
            words = f"Path {name} ({path.kind}) is watched and nothing answers on it yet."
            yield for_want_of(situation, Step.PATHS, TroubleKind.PATH, words, place=f"signalling/paths/{name}", at=name)
    if not job.signalling.paths and not situation.done(Step.PATHS):
        words = "No path is promised: a unit that watches a line from the factory shows it missing until that is switched off."
        yield for_want_of(situation, Step.PATHS, TroubleKind.PATH, words, place="signalling", sure=False)
    if any(job.signalling.sends(event) for event in job.signalling.reports) and not situation.done(Step.REPORTS):
        words = "Events want to be reported, and no account or receiver is entered yet."
        yield for_want_of(situation, Step.REPORTS, TroubleKind.REPORT, words, place="signalling", sure=False)


_UNIT = (
    (Step.CLOCK, TroubleKind.CLOCK_NOT_SET, "{} has no time since it was last without any supply.", True),
    (Step.CODES, TroubleKind.FACTORY_CODES, "{} still has its factory codes.", False),
    (Step.MEMORY, TroubleKind.OLD_EVENTS, "{} may show events from the bench, the transport and this work.", False),
    (Step.LEFT_SERVICE, TroubleKind.SERVICE_MODE, "{} is in service mode.", False),
)


def shown_of_unit(job: Job, situation: Situation, alive: Sequence[str]) -> Iterator[Trouble]:
    """Yield what a control unit shows of itself."""
    for unit in alive:
        for step, kind, words, sure in _UNIT:
            if not situation.done(step, unit):
                yield for_want_of(situation, step, kind, words.format(label_of(job, unit)), unit=unit, sure=sure)
