"""``loopwright locate``: where along a circuit, a run or the cables of a box a fault is, in the fewest minutes."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import DONE, Refusal
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from rich.console import Console

    from loopwright.explain.along.cable_fault import Found
    from loopwright.explain.along.chain import Halving
    from loopwright.explain.along.earth_branch import EarthPlan
    from loopwright.explain.along.halving import Plan, Split
    from loopwright.job.document import Job

EARTH = "earth"
NARROWEST, WIDEST = 40, 110
MOST_DEEP = 12
Reading = Annotated[str | None, Parameter(show_default=False)]


def locate(
    file: File,
    what: str,
    /,
    *,
    seen: Reading = None,
    at: Reading = None,
    near: Reading = None,
    far: Reading = None,
    spare: Reading = None,
    spare_m: Annotated[float | None, Parameter(show_default=False)] = None,
    json: Flag = False,
) -> int:
    """Say where to put the meter next to find a place, with the expected visits and minutes.

    Of a circuit that reads open or high: at which device to lift the pair and read outwards, by how likely each place is and
    how long the way and the lids take. Of a leak to earth: which cables of a box to part together. Of a run: at how many metres
    its cores touch, from the ohms at both ends, or are broken, from its capacitance.

    For example:

        loopwright locate shop.yaml c05
        loopwright locate shop.yaml c05 --seen visit.yaml
        loopwright locate shop.yaml earth --at expander
        loopwright locate shop.yaml W52 --near "4.9 Ω" --far "7.8 Ω"
        loopwright locate shop.yaml W52 --near "0.95 nF" --spare "3.4 nF" --spare-m 36

    Parameters
    ----------
    file
        The job document; - reads it from standard input.
    what
        A circuit or zone, a cable run, or the word earth.
    seen
        For a circuit: a file of what was seen, as `loopwright explain` takes it, to weigh the places by.
    at
        For earth: the box at which the cables are parted; the control unit when not given.
    near
        For a run: what the meter shows at its start, both ends lifted: ohms for a short, nanofarads for a break.
    far
        For a run: the same at its far end.
    spare
        For a break: the capacitance of a sound spare pair of the same cable.
    spare_m
        How long that spare pair is [m]; the run's own length when not given.
    json
        Print it as JSON, units in the keys.
    """
    from loopwright.cli.file import read_job
    from loopwright.cli.terminal import console, say_json
    from loopwright.explain.terminal import circuit_of

    job = read_job(file)
    out = console()
    if what == EARTH:
        plan = _earth(job, at)
        say_json({"file": file} | plan.as_data()) if json else _show_earth(out, plan)
    elif (circuit := circuit_of(job, what)) is not None:
        halving = _circuit(job, circuit, seen)
        say_json({"file": file} | halving.as_data()) if json else _show_circuit(out, halving)
    elif what in job.cables:
        found = _run(job, what, near, far, spare, spare_m)
        say_json({"file": file} | found.as_data()) if json else _show_run(out, job, found)
    else:
        raise Refusal(f"'{what}' is no circuit, zone or cable run of this job. Write one of them, or the word earth.")
    return DONE


def _earth(job: Job, at: str | None) -> EarthPlan:
    from loopwright.explain.along.earth_branch import boxes, earth_plan

    known = boxes(job)
    box = at or next(iter(known), "")
    try:
        return earth_plan(job, box)
    except KeyError:
        raise Refusal(f"No cable leaves '{box}'. Boxes with cables to part: {', '.join(known) or 'none yet'}.") from None


def _circuit(job: Job, circuit: str, seen: str | None) -> Halving:
    from loopwright.explain.along.chain import chances_at, plan_of, prior_of
    from loopwright.explain.circuit.part import circuit_part

    if seen is not None:
        from loopwright.cli.explain import observations
        from loopwright.explain.explain import explain

        found = explain(job, observations(job, seen))
        halving = next((each for each in found.halving if each.circuit == circuit), None)
        if halving is None:
            raise Refusal(f"What was seen does not say that {circuit} is open or high at one of several places. {found.verdict}")
        return halving
    part = circuit_part(job, circuit)
    return plan_of(job, circuit, chances_at(part, prior_of(part)))


def _run(job: Job, run: str, near: str | None, far: str | None, spare: str | None, spare_m: float | None) -> Found:
    from loopwright.explain.along.cable_fault import located
    from loopwright.explain.written import Unreadable

    try:
        return located(job, run, near or "", far or "", spare or "", spare_m)
    except (Unreadable, ValueError) as error:
        raise Refusal(f"{run}: {error}") from None


def _show_circuit(out: Console, halving: Halving) -> None:
    from rich.text import Text

    plan = halving.plan
    out.print(Text(f"Circuit {halving.circuit}, open or high somewhere along it", "bold"))
    _figures(out, plan)
    _lines(
        out, "The fault must be there while you look: read the pair once more at the control unit first. If it has gone, wait for it.", 0
    )
    _places(out, plan)
    if plan.start is None:
        _lines(out, f"There is one place only: {plan.places[0].words}.", 0)
    else:
        out.print()
        _tree(out, plan, plan.start, 0)
    _cautions(out, halving.caution)


def _show_earth(out: Console, found: EarthPlan) -> None:
    from rich.text import Text

    from loopwright.explain.along.earth_branch import CAUTION, STOP, WATCH

    out.print(Text(f"A leak to earth on one of the {len(found.runs)} cables of {found.words}", "bold"))
    _figures(out, found.plan)
    _lines(out, WATCH, 0)
    _places(out, found.plan)
    out.print()
    if found.plan.start is not None:
        _tree(out, found.plan, found.plan.start, 0, parting=True)
    out.print()
    for words in STOP:
        _lines(out, words, 0)
    if found.further:
        _lines(out, f"When it is a cable to another box, go on there: --at {' or --at '.join(found.further)}.", 0)
    _cautions(out, CAUTION)


def _show_run(out: Console, job: Job, found: Found) -> None:
    from rich.text import Text

    from loopwright.explain.circuit.check import label

    low, high = found.between
    start = label(job, job.cables[found.run].start)
    words = f"{found.run}: {found.metres:.1f} m from {start}, give or take {found.spread_m:.1f} m"
    out.print(Text(words, "bold"), soft_wrap=True)
    _lines(out, f"Look between {low:.1f} and {high:.1f} m of {found.length_m:g} m: there it is in 95 of 100 cases.", 0)
    _lines(out, f"By {found.how}.", 0)
    for taken in found.taken:
        _lines(out, f"Taken: {taken}.", 0)
    if found.fault_ohm is not None:
        _lines(out, f"The short itself has some {found.fault_ohm:.3g} Ω.", 0)


def _figures(out: Console, plan: Plan) -> None:
    most = f", at most {plan.most_visits}" if plan.start else ""
    _lines(out, f"{len(plan.places)} places: {plan.expected_visits:.1f} readings to be expected{most}; {plan.expected_min:.0f} minutes.", 0)


def _places(out: Console, plan: Plan) -> None:
    for number, place in enumerate(plan.places, 1):
        _lines(out, f"{number:>3}  {place.chance:>5.0%}  {place.words}", 0)


def _tree(out: Console, plan: Plan, split: Split, depth: int, *, parting: bool = False) -> None:
    point = plan.points[split.at - 1]
    sound = f" Sound beyond: {point.sound}." if point.sound else ""
    _lines(out, f"{point.words} ({split.cost_min:.1f} min).{sound}", 2 * depth)
    near, far = ("If the leak is gone", "If it stays") if parting else ("If sound", "If not")
    for words, follows, at in ((near, split.near, split.first), (far, split.far, split.at)):
        if follows is None:
            _lines(out, f"{words}: it is {plan.places[at].words}.", 2 * depth + 2)
        elif depth < MOST_DEEP:
            _lines(out, f"{words}:", 2 * depth + 2)
            _tree(out, plan, follows, depth + 2, parting=parting)


def _cautions(out: Console, brief: str) -> None:
    from loopwright.explain.caution import in_full

    for words in in_full(brief):
        _lines(out, f"Mind: {words}", 0)


def _lines(out: Console, text: str, indent: int) -> None:
    from rich.text import Text

    from loopwright.cli.terminal import plain

    width = max(min(out.width, WIDEST), NARROWEST) if out.is_terminal else out.width * 10
    lead = " " * indent
    body = textwrap.fill(plain(text), width, initial_indent=lead, subsequent_indent=lead, break_long_words=False, break_on_hyphens=False)
    out.print(Text(body), soft_wrap=True)
