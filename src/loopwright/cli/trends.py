"""``loopwright trends``: the readings on record of each circuit over the years, the most suspect first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import DONE, Refusal
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from rich.console import Console

    from loopwright.appraisal.trend import Trend
    from loopwright.job.document import Job

MOST_TRIPS, EVEN = 1000.0, 0.5


def trends(file: File, /, *, trips_a_year: Annotated[float | None, Parameter(show_default=False)] = None, json: Flag = False) -> int:
    """Say what has moved since the circuits were read first: which creeps, how fast, and where along it to look first.

    The readings are those on record in the job, of one circuit in one state; the design stands in where there is one reading.
    What two meters may differ by is no movement. With --trips-a-year it is said, too, how likely it is that a meter left
    on min and max sees a fault that comes so often.

    For example:

        loopwright trends shop.yaml
        loopwright trends shop.yaml --trips-a-year 2
        loopwright trends shop.yaml --json

    Parameters
    ----------
    file
        The job document; - reads it from standard input.
    trips_a_year
        How often a year the fault comes.
    json
        Print it as JSON, units in the keys.
    """
    from loopwright.appraisal.appraise import appraise
    from loopwright.appraisal.trend import trends as found_of
    from loopwright.cli.file import read_job
    from loopwright.cli.terminal import console, say_json

    if trips_a_year is not None and not 0 < trips_a_year <= MOST_TRIPS:
        raise Refusal(f"--trips-a-year {trips_a_year:g} cannot stand: write how often a year it comes, above 0, for example 2.")
    job = read_job(file)
    found = found_of(appraise(job))
    if json:
        say_json({"file": file, "trends": [each.as_data() for each in found], "watched": _watched(trips_a_year)})
    else:
        _show(console(), job, found, trips_a_year)
    return DONE


def _watched(trips_a_year: float | None) -> dict[str, float] | None:
    from loopwright.appraisal.trend import WATCH_DAYS, chance_of_a_trip

    if trips_a_year is None:
        return None
    return {"trips_a_year": trips_a_year, "days": WATCH_DAYS, "chance": chance_of_a_trip(trips_a_year, WATCH_DAYS)}


def _show(out: Console, job: Job, found: tuple[Trend, ...], trips_a_year: float | None) -> None:
    from rich.text import Text

    from loopwright.appraisal.trend import Course
    from loopwright.cli.terminal import plain

    out.print(Text(plain(job.title), "bold"), soft_wrap=True)
    if not found:
        _line(out, "No ohms of a circuit are on record yet. Read each circuit with both wires out, and put the readings on record.")
    for each in found:
        moves = each.course not in (Course.STEADY, Course.ONE)
        out.print()
        share = f"{each.used:.0%} of the way to its edge gone" if each.used else str(each.course)
        out.print(Text(plain(f"{each.circuit}, {each.state}: {share}"), "bold" if moves else ""), soft_wrap=True)
        _line(out, f"  {each.sentence}")
        if len(each.readings) > 1:
            _line(out, "  " + "; ".join(f"{day} {_ohm(value)}" for day, value in each.readings) + f"; by design {_ohm(each.design_ohm)}")
        if moves:
            _line(out, f"  {_first_look(job, each.circuit)}")
    if watched := _watched(trips_a_year):
        out.print()
        seen = f"a meter left on min and max for {watched['days']:g} days sees it with {watched['chance']:.0%}"
        then = "What creeps tells more." if watched["chance"] < EVEN else "Leave one on the pair."
        _line(out, f"A fault that comes {watched['trips_a_year']:g} times a year: {seen}. {then}")


def _first_look(job: Job, circuit: str) -> str:
    """Return where along a circuit to look first: the best of the plans that halve it."""
    from loopwright.explain.along.chain import chances_at, plan_of, prior_of
    from loopwright.explain.circuit.part import circuit_part

    part = circuit_part(job, circuit)
    plan = plan_of(job, circuit, chances_at(part, prior_of(part))).plan
    likely = max(plan.places, key=lambda place: place.chance)
    first = f"First: {plan.points[plan.start.at - 1].words}. " if plan.start is not None else ""
    place = f"Likeliest of {len(plan.places)} places: {likely.words} ({likely.chance:.0%})"
    return f"{first}{place}. The whole plan: loopwright locate FILE {circuit}"


def _ohm(value: float) -> str:
    from loopwright.values.figure import show

    return show(value, "Ω")


def _line(out: Console, text: str) -> None:
    from rich.text import Text

    from loopwright.cli.terminal import plain

    out.print(Text(plain(text)), soft_wrap=True)
