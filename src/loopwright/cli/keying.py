"""``loopwright keying``: the shortest list of what to enter at a control unit; the way back from what is found there; the times walked."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from loopwright.cli.refusal import BROKEN_MUST, DONE, Refusal, either
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from loopwright.job.document import Job
    from loopwright.keying.found import FoundUnit
    from loopwright.keying.pace import Pace
    from loopwright.keying.plan import Entry, Plan

MOST_WALK_S = 3600.0


def keying(
    file: File,
    /,
    *,
    found: str = "",
    unit: str = "",
    walk: list[str] | None = None,
    no_restore: Flag = False,
    json: Flag = False,
) -> int:
    """Tell what to enter at the control unit, in order: only what differs, in the fewest key presses.

    The unit's data sheet says where each setting is entered, how, and what the factory left there. With --found the way back: what was
    read at a unit, as the programme it amounts to, where it differs, and what to enter from there. Codes are never printed.
    Exit status: 0; 1 when the unit cannot hold what the programme says; 2 when something cannot be read.

    For example:

        loopwright keying house.yaml
        loopwright keying house.yaml --found panel.txt
        loopwright keying house.yaml --walk house=33

    Parameters
    ----------
    file
        The job document; - reads it from standard input.
    found
        What was read at the unit: a line ``address = what it shows`` for each.
    unit
        The unit meant, where several are keyed.
    walk
        AREA=SECONDS: the slowest walk by the stopwatch, for the times; may be said for several areas.
    no_restore
        Leave a factory restore out, even where it makes the list shorter.
    json
        Print the plan, what was found and the times as JSON.
    """
    from loopwright.cli.file import read_job

    job = _walked(read_job(file), walk or [])
    units = _units(job, unit, alone=bool(found))
    told = _found(job, units[0], found) if found else None
    from loopwright.keying.pace import paces_of
    from loopwright.keying.plan import plan_of

    values = None if told is None else told.values
    plans = [plan_of(job, each, values, restore=False if no_restore else None) for each in units]
    paces = list({pace.path: pace for each in units for pace in paces_of(job, each)}.values())
    if json:
        from loopwright.cli.terminal import say_json

        say_json(_machine(file, plans, paces, told))
    else:
        from loopwright.cli.terminal import console

        out = console()
        if told is not None:
            _say_found(out, told)
        for plan in plans:
            _say_plan(out, job.title, plan)
        _say_paces(out, paces)
    return BROKEN_MUST if any(plan.misfits for plan in plans) else DONE


def _walked(job: Job, walks: Sequence[str]) -> Job:
    """Return the job with the walks timed by the stopwatch. Raises Refusal."""
    areas = dict(job.areas)
    for walk in walks:
        name, _, text = walk.partition("=")
        try:
            seconds = float(text.strip().removesuffix("s"))
        except ValueError:
            seconds = -1.0
        if name not in areas or not 0 < seconds <= MOST_WALK_S:
            raise Refusal(f"--walk {walk}: write an area and the seconds, such as {either(areas)}=25, up to {MOST_WALK_S:g}.")
        areas[name] = replace(areas[name], walk_s=seconds)
    return replace(job, areas=areas)


def _units(job: Job, unit: str, *, alone: bool) -> list[str]:
    """Return the units meant. Raises Refusal where there is none, or where one has to be named."""
    from loopwright.keying.spot import units_of

    units = units_of(job)
    if not units:
        raise Refusal(
            "No unit's data sheet ties a setting to the programme yet: enter for each setting what it holds (Kit, or "
            "sheets/equipment/<id>/settings/<id>/of)."
        )
    if unit and unit not in units:
        raise Refusal(f"--unit {unit}: no unit of that name is keyed here; {either(units)}.")
    if alone and not unit and len(units) > 1:
        raise Refusal(f"--found: say which unit was read with --unit {either(units)}.")
    return [unit] if unit else units


def _found(job: Job, unit: str, file: str) -> FoundUnit:
    """Return what a file says was found. Raises Refusal with every line that could not be taken; nothing that was read is repeated."""
    from loopwright.cli.file import name_of, read_source
    from loopwright.keying.found import found_at, readings_in

    try:
        text = read_source(file).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise Refusal(f"{name_of(file)}: is not written in UTF-8; save it as plain text.") from None
    readings, problems = readings_in(text)
    told = found_at(job, unit, readings)
    if not told.rows:
        wrong = [*problems, *told.problems]
        raise Refusal(*(f"{name_of(file)}: {each}" for each in wrong), *([] if wrong else [f"{name_of(file)}: nothing was read in it."]))
    return replace(told, problems=(*problems, *told.problems))


def _machine(file: str, plans: list[Plan], paces: list[Pace], told: FoundUnit | None) -> dict[str, Any]:
    from dataclasses import asdict

    made: dict[str, Any] = {"file": file, "plans": [asdict(plan) for plan in plans], "times": [asdict(pace) for pace in paces]}
    if told is not None:
        made["found"] = {
            "unit": told.unit,
            "programme": {row.path: row.found for row in told.rows},
            "differences": [asdict(row) for row in told.differences],
            "unread": told.unread,
            "problems": [asdict(each) for each in told.problems],
        }
    return made


def _line(out: Console, words: str, style: str = "") -> None:
    from rich.text import Text

    from loopwright.cli.terminal import plain

    out.print(Text(plain(words), style), soft_wrap=True)


def _say_found(out: Console, told: FoundUnit) -> None:
    differ = len(told.differences)
    _line(
        out,
        f"Found at {told.unit}: {len(told.rows)} settings read, {differ} not as the programme says, {len(told.unread)} not read.",
        "bold",
    )
    for row in told.rows:
        if row.differs:
            said = f"the programme says {row.programme}" if row.programme else "the programme says nothing of it"
            _line(out, f"  {row.words}: {row.found}{', as delivered' if row.factory else ''}; {said}.")
    for problem in told.problems:
        _line(out, f"  Not taken: {problem}")
    _line(out, "")


def _say_plan(out: Console, title: str, plan: Plan) -> None:
    _line(out, f"{title}: keying plan of {plan.label}", "bold")
    if not plan.entries and not plan.restore and not plan.misfits:
        _line(out, "Nothing has to be entered: everything the programme says is there already.")
        _line(out, "")
        return
    start = "what was found" if plan.found else "the factory's settings"
    many = "1 entry" if len(plan.entries) == 1 else f"{len(plan.entries)} entries"
    _line(out, f"From {start}: {many}, {plan.in_all}.")
    if plan.otherwise is not None:
        _line(out, f"{'Without' if plan.restore else 'With'} a factory restore first it would be {plan.otherwise}.")
    for warning in plan.warnings:
        _line(out, f"Mind: {warning}")
    if plan.way_in:
        _line(out, plan.way_in)
    _line(out, "")
    if plan.restore:
        _line(out, f"  First, put everything back to the factory's: {plan.restore}.")
    for number, entry in enumerate(plan.entries, 1):
        _say_entry(out, number, entry)
    for misfit in plan.misfits:
        _line(out, f"  Cannot be entered: {misfit.words}. {misfit.sentence} {misfit.right}")
    if plan.unread:
        _line(out, f"Not read and therefore entered in any case: {plan.unread}.")
    _line(out, f"Right already: {plan.right_already}.")
    if plan.unsaid:
        _line(out, f"The programme says nothing of: {', '.join(plan.unsaid)}.")


def _say_entry(out: Console, number: int, entry: Entry) -> None:
    _line(out, f"{number:3}. {entry.address}: {entry.keys}", "bold")
    changed = [f"{part.words}: {part.before or 'not known'} → {part.after}" for part in entry.parts if part.before != part.after]
    if changed and not entry.by_hand:
        _line(out, f"       {'; '.join(changed)}", "dim")
    shows = [] if entry.by_hand else [f"Read back: {entry.shows}."]
    told = [
        *shows,
        *([entry.read_back] if entry.read_back else []),
        *([f"Clears: {entry.clears}."] if entry.clears else []),
        *(f"Mind: {mind}." for mind in entry.minds),
    ]
    _line(out, f"       {' '.join(each if each.endswith('.') else each + '.' for each in told)}", "dim")


def _say_paces(out: Console, paces: list[Pace]) -> None:
    if not paces:
        return
    _line(out, "")
    _line(out, "An alarm when leaving or coming in", "bold")
    for pace in paces:
        _line(out, f"  {pace.words[0].upper()}{pace.words[1:]}: {pace.sentence}")
        if pace.limits:
            _line(out, f"    Allowed: {'; '.join(pace.limits)}.", "dim")
