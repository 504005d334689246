"""The rehearsal of a job: every promise held against the parts of its programme, and what was not covered."""

from __future__ import annotations

from dataclasses import dataclass

from loopwright.job.document import Job
from loopwright.rehearse.law import NO_LAW, Law
from loopwright.rehearse.plan import NotCoveredError
from loopwright.rehearse.promise import PROMISES, UNTRIED, Broken, Trial
from loopwright.rehearse.promises import alarms, areas, by_itself, power, sounding, switched, zones
from loopwright.rehearse.reading import programme_of, spoken
from loopwright.rehearse.state import tick_s

FAMILIES = (
    zones.watched, zones.any_time, areas.walk, zones.answers, areas.setting, alarms.cancel, alarms.confirm, sounding.sounds,
    sounding.strobes, alarms.not_all_locked_out, power.power, areas.way_back, by_itself.schedule, switched.outputs, areas.shared,
)  # fmt: skip


@dataclass(frozen=True, kw_only=True, slots=True)
class Rehearsal:
    """What the search found, over how many states in how many searches, how it was simplified, and what it did not cover.

    ``untried`` are the promises that were never put to the test, each with why: they are neither broken nor kept.
    ``left_out`` says of each zone that was left out what is lacking; it stands in ``not_covered`` too.
    """

    broken: tuple[Broken, ...]
    untried: dict[str, str]
    states: int
    searches: int
    tick_s: float
    simplified: tuple[str, ...]
    left_out: tuple[str, ...]
    not_covered: tuple[str, ...]


SIMPLIFIED = (
    "One area at a time; a shared area with one that shares it and a stand-in for the rest, a zone of several areas with them all.",
    "One zone is followed at a time, two where two matter; the others may be activated, or stand open, at any time.",
    "Of the others, a zone that does nothing another would not do is left out; zones and people that do and may the same are one.",
    "Times may end whenever they run; a story that no clock allows is not told, and the search is then done by the clock.",
    "Every story that is told was played in the whole programme: all zones, all areas, every time running.",
    "Reports, sounders and confirmation are looked at one at a time beside the areas, which do not depend on them.",
)


def rehearse(job: Job, law: Law = NO_LAW) -> Rehearsal:
    """Hold every promise against every area that can be searched; ``law`` is what the job's rules say of it.

    Raises TooManyStatesError for a part with more states than can be held.
    """
    said, lacking = spoken(job)
    left_out = tuple(f"{each[:1].upper()}{each[1:]}: searched without it." for each in lacking)
    covered, missing = _covered(job, said)
    trial = Trial(job, programme_of(said, covered), law)
    broken: dict[tuple[str, str], Broken] = {}
    for family in FAMILIES:
        for each in family(trial):
            broken.setdefault((each.promise, each.subject), each)
    return Rehearsal(
        broken=tuple(broken.values()),
        untried=_untried(trial, {each.promise for each in broken.values()}),
        states=sum(trial.sizes.values()),
        searches=len(trial.sizes),
        tick_s=tick_s(trial.whole),
        simplified=SIMPLIFIED,
        left_out=left_out,
        not_covered=(*left_out, *missing, *trial.missing, *_otherwise(trial), *_unsaid(job), *_left_out(job)),
    )


def _untried(trial: Trial, broken: set[str]) -> dict[str, str]:
    """Return the promises that were never put to the test, each with why."""
    return {name: UNTRIED[name] for name in PROMISES if name not in trial.tried | broken}


def _otherwise(trial: Trial) -> list[str]:
    """Return of how many stories a part of the programme has and the whole has not, and the last thing of the first of them."""
    count = len(trial.otherwise)
    if not count:
        return []
    lead = "1 story of a part" if count == 1 else f"{count} stories of parts"
    first = next(iter(trial.otherwise))
    return [f"{lead} came out otherwise in the whole programme, and nothing was made of {'it' if count == 1 else 'them'}: {first}."]


def _covered(job: Job, said: Job) -> tuple[tuple[str, ...], list[str]]:
    """Return the areas that can be searched, and why the others cannot. ``said`` is the job without the zones that are left out."""
    covered, missing = [], []
    lying, left = ({area for zone in each.zones.values() for area in zone.areas} for each in (job, said))
    for name in job.areas:
        try:
            if name in lying - left:
                raise NotCoveredError(f"{job.areas[name].name}: no zone of it is said whole")
            programme_of(said, (name,))
        except NotCoveredError as reason:
            missing.append(f"{reason}." if str(reason).startswith(job.areas[name].name) else f"{job.areas[name].name}: {reason}.")
        else:
            covered.append(name)
    for name in list(covered):
        lacking = [job.areas[each].name for each in job.areas[name].common_to if each not in covered]
        cascaded = [job.areas[each].name for each in job.areas[name].common_to if job.areas[each].common_to]
        if lacking or cascaded:
            why = f"{lacking[0]} is not covered" if lacking else f"{cascaded[0]} is shared itself"
            missing.append(f"{job.areas[name].name}: it is shared, and {why}.")
            covered.remove(name)
    return tuple(covered), missing


def _unsaid(job: Job) -> list[str]:
    """Return what the customer's expectation leaves open."""
    found = []
    silent = [zone for zone in job.zones.values() if zone.watched is None]
    if silent:
        found.append(
            f"Nobody has said when {len(silent)} of {len(job.zones)} zones {'is' if len(silent) == 1 else 'are'} to raise an alarm, "
            f"so nothing is held against {'it' if len(silent) == 1 else 'them'}."
        )
    doorless = [area.name for area in job.areas.values() if not area.entry_doors]
    if doorless:
        found.append(f"Nobody has said by which doors people may come in to {', '.join(doorless)}, so no walk is tried there.")
    return found


def _left_out(job: Job) -> list[str]:
    found = ["How long a switched output stays on is told in the sandbox and not searched; readers at doors are taken as fobs."]
    if any(area.set_at for area in job.areas.values()):
        found.append("An area that sets itself may do so whenever it is unset: the time of day is not looked at.")
    if any(area.set_at and area.common_to for area in job.areas.values()):
        found.append("A shared area follows its areas: that one is said to set itself is left aside.")
    if len(job.areas) > 1:
        found.append("Times of several areas against each other are searched only where areas share a zone or one of them is shared.")
    return found
