"""Checks on how long a battery lasts: the capacity asked for by formula, and the hours by simulation."""

from __future__ import annotations

from functools import partial

from loopwright.power import sizing
from loopwright.power.discharge import BATTERY
from loopwright.power.forecast import label_of
from loopwright.power.standby import StandbyForecast, longest_figure, required_figure
from loopwright.rules.facts import Facts
from loopwright.rules.ruleset import binding
from loopwright.rules.worked import marked
from loopwright.values.finding import Finding, Severity

MORE = 1 + 1e-6


def check_standby_asked(facts: Facts) -> list[Finding]:
    """Somebody who may ask for it has said how long the battery has to last."""
    if not facts.standby:
        return []
    need = facts.standby[0].requirement
    if need.standby_h <= 0:
        return [
            Finding(
                code="standby-hours-missing",
                severity=Severity.GAP,
                subject="region/standby_h",
                sentence="Nobody has said how many hours the battery has to last.",
                remedy="Enter the standby hours and alarm minutes the customer or the insurer asks for.",
                source="job-document",
            )
        ]
    if binding(need.source):
        return []
    extra = ""
    if need.source == "household-standby":
        extra = " Household burglary is remembered as 4 h and 4 min of alarm, household fire as 24 h and 4 min; neither clause was read."
    return [
        Finding(
            code="standby-hours-unconfirmed",
            severity=Severity.NOTE,
            subject="region/standby_h",
            sentence=f"The {need.standby_h:g} h of standby are {marked('taken from the ruleset', need.source)}, "
            f"so that no must rests on them.{extra}",
            remedy="Read the clause, or enter the hours the customer or the insurer asks for.",
            clause=need.clause,
            source=need.source,
        )
    ]


def check_capacity(facts: Facts) -> list[Finding]:
    """Every battery has the capacity asked for by the ruleset's formula, and lasts the hours in the simulation too."""
    found = []
    for item in facts.standby:
        if item.requirement.standby_h <= 0:
            continue
        if item.required_ah > item.fitted_ah * MORE:
            found.append(_too_small(facts, item))
        elif not item.longest.fits or item.longest.hours < item.requirement.standby_h / MORE:
            found.append(_too_short(facts, item))
    return found


def _severity(facts: Facts, item: StandbyForecast) -> Severity:
    """Return *must* where the hours a binding source asks for take more than is fitted even of a new battery.

    What ageing adds is good sense and not the clause; alarm minutes nobody stated are left out.
    """
    need = item.requirement
    if not binding(need.source):
        return Severity.SHOULD
    alarm = facts.ruleset.limit("alarm_min")
    stated = facts.job.region.alarm_min is not None or (alarm is not None and binding(alarm.source))
    least = sizing.required_capacity_ah(
        standby_a=item.standby_a,
        standby_h=need.standby_h,
        alarm_a=item.alarm_a,
        alarm_h=need.alarm_h if stated else 0.0,
        formula=sizing.PLAIN,
    )
    return Severity.MUST if least > item.fitted_ah * MORE else Severity.SHOULD


def _too_small(facts: Facts, item: StandbyForecast) -> Finding:
    need, figure, hours = item.requirement, required_figure(facts.job, item), longest_figure(facts.job, item)
    asked = marked(f"{need.standby_h:g} h and {need.alarm_h * 60:g} min of alarm", need.source)
    return Finding(
        code="battery-too-small",
        severity=_severity(facts, item),
        subject=f"equipment/{item.supply}/battery",
        sentence=f"{label_of(facts.job, item.supply)} has {item.fitted_ah:.3g} Ah of battery; {asked} need {figure}. "
        f"As computed it lasts {hours} with the alarm still to come{_stopping(facts, item)}.",
        remedy=partial(_larger, facts, item),
        clause=need.clause,
        source=need.source,
        figures=(figure, hours),
    )


def _larger(facts: Facts, item: StandbyForecast) -> str:
    """Return which battery on sale meets the formula and lasts the hours by simulation, or what else to do."""
    need, size = item.requirement.standby_h, item.size_on_sale_ah()
    supply = facts.job.sheet_of(item.supply).supply
    most = supply.largest_battery_ah if supply is not None else None
    least = size if size is not None else item.required_ah
    if most is not None and least > most:
        return (
            f"It takes {least:.3g} Ah, but this supply may charge {most:g} Ah at most: move {1 - most / least:.0%} of the load to a "
            "second supply with a battery."
        )
    if size is None:
        return "No battery on sale is enough: move load to a second supply with a battery, or fit several in parallel."
    lasts = item.with_capacity(size)
    words = f"Fit {size:g} Ah: by formula and as computed the smallest on sale that is enough."
    if lasts.hours < need and lasts.limited_by != BATTERY:
        words += f" Put the volts of {_device(facts, lasts.limited_by)} right too, or it stops after {lasts.hours:.1f} h even so."
    return words


def _stopping(facts: Facts, item: StandbyForecast) -> str:
    """Return which device ends the standby before the battery does, in words."""
    return "" if item.longest.limited_by == BATTERY else f", when {_device(facts, item.longest.limited_by)} stops first"


def _too_short(facts: Facts, item: StandbyForecast) -> Finding:
    need, hours = item.requirement, longest_figure(facts.job, item)
    by = _stopping(facts, item)
    lasts = f"lasts {hours} with the alarm still to come" if item.longest.fits else "cannot carry the alarm even when full"
    return Finding(
        code="standby-too-short",
        severity=Severity.SHOULD,
        subject=f"equipment/{item.supply}/battery",
        sentence=f"The battery of {label_of(facts.job, item.supply)} is large enough by formula but {lasts}"
        f"{by}; {marked(f'{need.standby_h:g} h are asked for', need.source)}.",
        remedy="Put right the volts of the device that stops first." if by else partial(_larger, facts, item),
        clause=need.clause,
        source="kibam",
        figures=(hours,),
    )


def check_first_to_stop(facts: Facts) -> list[Finding]:
    """No device stops while its battery still has hours to go."""
    found = []
    for item in facts.standby:
        stops, ends = item.to_first_short_h, item.to_cut_out_h
        if stops is None or item.first_short is None or item.first_short.partition(".")[0] == item.supply:
            continue
        if ends is not None and stops >= ends * 0.98:
            continue
        early = stops < item.requirement.standby_h
        until = "" if ends is None else f", {ends - stops:.1f} h before the battery lets go"
        found.append(
            Finding(
                code="stops-before-battery",
                severity=Severity.SHOULD if early else Severity.NOTE,
                subject=f"equipment/{item.first_short.partition('.')[0]}",
                sentence=f"On battery, {_device(facts, item.first_short)} stops after {stops:.1f} h{until}.",
                remedy="Thicker cable or a shorter run keeps it working to the end; see its volts at the cut-out.",
                source="kibam",
                figures=(longest_figure(facts.job, item),),
            )
        )
    return found


def _device(facts: Facts, load: str) -> str:
    return label_of(facts.job, load.partition(".")[0])
