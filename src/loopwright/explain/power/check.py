"""The checks of supplies, batteries, outputs and the equipment they feed: where the meter goes, in which state, and what it costs."""

from __future__ import annotations

from loopwright.explain.check import YES_NO, Check, CheckKind
from loopwright.explain.circuit.check import label
from loopwright.explain.power.place import Focus
from loopwright.job.document import Job
from loopwright.job.sheet import Conversion
from loopwright.netlist.element import BatteryState, Scenario

SCENARIOS = (
    Scenario("unset/mains", 0, True, BatteryState()),
    Scenario("alarm/mains", 3, True, BatteryState()),
    Scenario("unset/battery", 0, False, BatteryState()),
    Scenario("alarm/battery", 3, False, BatteryState()),
)
"""The states the meter is read in: quiet and in alarm, on mains and with mains off."""
STATE_MINUTES = {"unset/mains": 0.0, "alarm/mains": 5.0, "unset/battery": 3.0, "alarm/battery": 7.0}
"""What bringing the system into a state costs on top: in alarm, people and the centre are told before and after (judgement; five minutes on
battery are common practice)."""
STATE_WORDS = {
    "unset/mains": "unset, on mains",
    "alarm/mains": "in alarm, on mains",
    "unset/battery": "unset, mains off for a minute",
    "alarm/battery": "in alarm, mains off",
}
QUIET = "unset/mains"
RESTED = "rested"
TEST_LOAD = "test load"
TEST_LOAD_PER_H = 0.5
"""A test load draws half as many amperes as the battery has ampere-hours: that tells an aged one (common practice, no source)."""
TROUBLE_WORDS = {"mains": "a mains trouble", "battery": "a battery trouble", "aux": "a trouble of the supply to its detectors"}
"""What the keypad may show of a supply, by the word it is written with."""
TROUBLES = tuple(TROUBLE_WORDS)
METER, LID = "meter", "supply's lid"


def power_checks(job: Job, focus: Focus) -> tuple[Check, ...]:
    """Return every metered check and every trouble of a focus."""
    out: list[Check] = []
    for supply in focus.supplies if focus.whole else ():
        out += _supply(job, supply)
    for output in focus.outputs:
        unit, _, terminal = output.partition(".")
        where = f"output {terminal} of {label(job, unit)}"
        for kind, words, minutes in ((CheckKind.OUTPUT_VOLTS, "Volts at", 2.0), (CheckKind.OUTPUT_AMPS, "Amperes out of", 5.0)):
            out += _in_states(kind, output, f"{words} {where}", minutes, (METER, LID))
    for landing in focus.landings:
        name = f"{landing.equipment}.{landing.load}"
        words = f"Volts at the supply terminals of {label(job, landing.equipment)}"
        out += _in_states(CheckKind.DEVICE_VOLTS, name, words, 4.0, (METER, "device's lid"))
    return tuple(out) if focus.whole else tuple(check for check in out if check.scenario == QUIET)


def _in_states(kind: CheckKind, where: str, words: str, minutes: float, needs: tuple[str, ...]) -> list[Check]:
    return [
        Check(
            kind=kind,
            where=where,
            scenario=state,
            minutes=minutes + STATE_MINUTES[state],
            needs=needs,
            words=f"{words}, {STATE_WORDS[state]}",
            by="lid",
        )
        for state in STATE_MINUTES
    ]


def test_load_a(job: Job, supply: str) -> float:
    """Return what a test load draws from the battery of a supply [A]; nothing where none is fitted."""
    fitted = job.equipment[supply].battery
    return TEST_LOAD_PER_H * job.sheets.batteries[fitted.sheet].capacity_ah * fitted.parallel if fitted is not None else 0.0


def _supply(job: Job, supply: str) -> list[Check]:
    named = label(job, supply)
    out = _in_states(CheckKind.BUS_VOLTS, supply, f"Volts at the dc terminals of {named}", 2.0, (METER, LID))
    sheet = job.sheet_of(supply).supply
    if job.equipment[supply].battery is not None:
        posts = f"Volts at the battery's own posts, {named}"
        out += [c for c in _in_states(CheckKind.BATTERY_VOLTS, supply, posts, 3.0, (METER, LID)) if c.scenario != "alarm/mains"]
        for kind, words, minutes in (
            (CheckKind.LEADS_VOLTS, f"Volts between the battery leads of {named}, battery taken off", 3.0),
            (CheckKind.FUSE_VOLTS, f"Volts across the battery fuse of {named}, mains off for a moment", 2.5),
        ):
            out.append(Check(kind=kind, where=supply, minutes=minutes, needs=(METER, LID), words=words, by="lid"))
        rested = f"{posts}, off charge and rested an hour"
        out.append(
            Check(kind=CheckKind.BATTERY_VOLTS, where=supply, scenario=RESTED, minutes=6.0, needs=(METER, LID), words=rested, by="lid")
        )
        loaded = f"{posts}, off its leads and a test load of {test_load_a(job, supply):.2g} A on it for ten seconds"
        needs = (METER, LID, "test load")
        out.append(Check(kind=CheckKind.BATTERY_VOLTS, where=supply, scenario=TEST_LOAD, minutes=5.0, needs=needs, words=loaded, by="lid"))
    if sheet is not None and sheet.conversion is Conversion.TRANSFORMER and sheet.secondary_v:
        words = f"Ac volts at the transformer's secondary, load lifted, {named}"
        out.append(Check(kind=CheckKind.SECONDARY_VOLTS, where=supply, minutes=5.0, needs=(METER, LID), words=words, by="licensed"))
    for trouble in TROUBLES:
        words = f"Does the keypad show {TROUBLE_WORDS[trouble]} of {named}?"
        out.append(Check(kind=CheckKind.TROUBLE, where=supply, scenario=trouble, minutes=0.5, words=words, outcomes=YES_NO, by="caller"))
    return out
