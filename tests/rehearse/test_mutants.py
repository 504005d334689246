"""Good programmes are not accused; a programme with one wrong cell is, or it is said here why the cell makes no odds."""

from __future__ import annotations

from dataclasses import replace
from random import Random
from typing import Any

import pytest

from loopwright.job.document import Job
from loopwright.programme.response import Response
from often import DEEP
from rehearse.test_promises import broken, everywhere, good, with_cell

CHOICES: list[dict[str, Any]] = [
    {},
    {"exit_restart": True},
    {"exit_error": "fails"},
    {"unvacated": "part"},
    {"exit_alarm": "stops"},
    {"lock_out_trips": 1},
    {"lock_out_trips": 3, "lock_out_reset": "set"},
    {"override_open": True},
    {"prevents": {"open": "engineer", "memory": "user"}},
    {"prevents": {"path": "never", "mains": "never", "battery": "never"}},
    {"alarm_reset": "remote"},
    {"tamper_reset": "remote"},
    {"set_by": "final-door"},
    {"set_by": "final-door", "settle_s": 10.0},
    {"set_by": "key-switch", "settle_s": 5.0},
    {"shared_zones": "all"},
    {"lobby_sets": "at-once"},
    {"confirm_s": 1800.0},
    {"confirm_s": 2400.0, "unconfirmed": "inhibited"},
    {"entry_alarm_s": 30.0},
    {"blind_s": 60.0},
    {"cancel_s": 300.0},
    {"abort_s": 15.0, "sounder_s": 900.0},
    {"sounds": {"tamper-unset": "silent", "24-hour-set": "internal"}},
    {"sounds": {"intruder-part": "internal", "intruder-exit": "internal", "intruder-entry": "internal", "exit-error": "internal"}},
    {"sounds": {"intruder-full": "silent", "intruder-part": "silent"}},
    {"sounder_anew": False},
]


@pytest.mark.parametrize("told", CHOICES if DEEP else CHOICES[::3], ids=str)
def test_a_good_programme_is_not_accused_whatever_it_chooses(told: dict[str, Any]) -> None:
    assert broken(good(**told)) == {}


def cells() -> list[tuple[str, str, Response]]:
    job = good()
    return [
        (zone, state, word)
        for zone in job.zones
        for state in ("unset", "full", "stay")
        for word in Response
        if said(job, zone, state) != word
    ]


def said(job: Job, zone: str, state: str) -> str:
    return job.zones[zone].response[state]


CELLS = cells() if DEEP else Random(3).sample(cells(), 16)
AT_ANY_TIME = {"24-hour", "tamper", "hold-up"}


def makes_no_odds(job: Job, zone: str, state: str, word: Response) -> str:
    """Return why a wrong cell breaks no promise, or nothing where it has to be caught."""
    if word in AT_ANY_TIME:
        return ""
    if state == "unset":
        return "unset, nothing is expected of a zone that does not answer at any time: chime, soak test and silence alarm nobody"
    if word is Response.SOAK_TEST and zone in job.areas["house"].entry_doors and state == "full":
        return ""  # The door says why it is quiet, but whoever comes in by it is not let past the hall.
    if word is Response.SOAK_TEST:
        return "soak test is a quiet reason with a name: the zone says so wherever it is quiet"
    house = job.areas["house"]
    door, past = zone in house.entry_doors, zone in house.walked_past
    if (door or past) and (word is Response.IMMEDIATE or (door and word is Response.ENTRY_ROUTE)):
        return ""
    if job.zones[zone].watched == "full" and state != "full":
        return "in this set state the customer expects nothing of this zone, and whoever lawfully passes it is let by"
    if word in ("immediate", "entry-route"):
        return "an entry-route zone alarms when it is activated first, as an immediate one does; it is tolerant only once entry has begun"
    return ""


@pytest.mark.parametrize("zone, state, word", CELLS)
def test_one_wrong_cell_is_caught_or_makes_no_odds(zone: str, state: str, word: Response) -> None:
    job = good()
    found = broken(with_cell(job, zone, state, word))
    why = makes_no_odds(job, zone, state, word)
    assert bool(found) != bool(why), (found, why)


def wrong_elsewhere() -> list[tuple[str, Job]]:
    job = good(confirm_s=1800.0)
    house, users, reports = job.areas["house"], job.users, job.signalling.reports

    def area(**changed: Any) -> Job:
        return replace(job, areas={"house": replace(house, **changed)})

    def rights(right: Any) -> Job:
        return replace(job, users={name: replace(user, areas={"house": right}) for name, user in users.items()})

    made = [(f"entry {entry_s} s", area(entry_s=entry_s)) for entry_s in (0.0, 10.0, 20.0, 31.0, 45.0, 60.0)]
    made += [(f"exit {exit_s} s", area(exit_s=exit_s)) for exit_s in (0.0, 10.0, 20.0)]
    made += [(f"walk {walk_s} s", area(walk_s=walk_s)) for walk_s in (30.0, 45.0, 90.0)]
    made += [(f"nobody may do more than {right}", rights(right)) for right in ("none", "set", "unset")]
    made += [(f"no door but {zone}", area(entry_doors=(zone,))) for zone in ("z01", "z02", "z03")]
    made += [(f"past {zone}", area(walked_past=("z06", zone))) for zone in ("z03", "z04", "z05", "z07", "z08", "z09", "z10", "z11")]
    made += [("no cancel is sent", replace(job, signalling=replace(job.signalling, reports={**reports, "cancel": "no"})))]
    told: list[dict[str, Any]] = [{"alarm_reset": "engineer"}, {"sounder_s": 0.0}, {"abort_s": 45.0}]
    told += [{"prevents": {name: "ignored"}} for name in ("open", "memory", "path", "mains", "battery")]
    latching = everywhere(everywhere(good(), "z09", "tamper"), "z10", "hold-up")
    assert not broken(latching)
    latched: list[dict[str, Any]] = [
        {"tamper_reset": "engineer"},
        {"prevents": {"tamper": "ignored"}},
        {"prevents": {"hold-up": "ignored"}},
    ]
    made += [(str(each), replace(latching, programme=replace(latching.programme, **each))) for each in latched]
    told += [{"lock_out_trips": trips, "lock_out_reset": "midnight"} for trips in (1, 2)]
    told += [{"confirm_s": 2400.0, "confirm_in_entry": True}]
    return made + [(str(each), good(**each)) for each in told] + neither_heard_nor_sent()


def neither_heard_nor_sent() -> list[tuple[str, Job]]:
    """Return good programmes but for alarms that are not sent, and sound nowhere where one thing or another is going on."""
    job = good()
    unsent = replace(job, signalling=replace(job.signalling, reports={**job.signalling.reports, "alarm": "no"}))
    cells = ("intruder-full", "intruder-part", "intruder-exit", "intruder-entry")
    return [
        (f"{cell}: neither heard nor sent", replace(unsent, programme=replace(job.programme, sounds={cell: "silent"}))) for cell in cells
    ]


@pytest.mark.parametrize(
    "name, job", wrong_elsewhere() if DEEP else wrong_elsewhere()[::4], ids=lambda each: each if isinstance(each, str) else ""
)
def test_one_wrong_time_right_report_or_choice_is_caught(name: str, job: Job) -> None:
    assert broken(job), name
