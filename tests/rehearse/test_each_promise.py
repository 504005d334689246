"""Each promise is broken by mutants of good programmes that keep it: none is one that nothing could break."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from loopwright.appraisal.law import law_of
from loopwright.job.document import Job, LocalLimit, OutputRule
from loopwright.rehearse.promise import PROMISES, Trial
from loopwright.rehearse.promises.sounding import strobes
from loopwright.rehearse.reading import programme_of
from loopwright.rehearse.rehearsal import rehearse
from often import DEEP
from rehearse.test_power import with_unit
from rehearse.test_promises import everywhere, good, of_lobby, shared, with_cell


def broken(job: Job) -> set[str]:
    return {each.promise for each in rehearse(job, law_of(job)).broken}


def lobby(job: Job) -> set[str]:
    return {each.promise for each in of_lobby(job).values()}


def strobed(job: Job) -> set[str]:
    return {each.promise for each in strobes(Trial(job, programme_of(job)))}


def latching() -> Job:
    """Return the good dwelling with a tamper, a hold-up, a 24-hour zone and a code for duress."""
    job = everywhere(everywhere(everywhere(good(), "z09", "tamper"), "z10", "hold-up"), "z05", "24-hour")
    return replace(job, users={**job.users, "owner": replace(job.users["owner"], duress=True)})


def timely() -> Job:
    """Return the good dwelling that sets itself, and says so when it cannot."""
    job = good()
    house = replace(job.areas["house"], set_at="weekdays 22:00", warning_s=120.0)
    return reports(replace(job, areas={"house": house}), **{"setting-failed": "yes"})


def with_strobe(**told: Any) -> Job:
    job = shared()
    return replace(job, outputs={"strobe": replace(job.outputs["strobe"], **{"how": "follow", **told})})


def confirmed() -> Job:
    return good(confirm_s=1800.0)


def left() -> Job:
    return good(confirm_s=1800.0, unconfirmed="inhibited")


def powered() -> Job:
    return with_unit(good(blind_s=60.0), after_power="as-before")


def reports(job: Job, **said: Any) -> Job:
    return replace(job, signalling=replace(job.signalling, reports={**job.signalling.reports, **said}))


def house(job: Job, **said: Any) -> Job:
    return replace(job, areas={**job.areas, "house": replace(job.areas["house"], **said)})


def told(job: Job, **said: Any) -> Job:
    return replace(job, programme=replace(job.programme, **said))


def under(job: Job, **said: Any) -> Job:
    return replace(job, region=replace(job.region, **said))


def rights(job: Job, right: Any, area: str = "house") -> Job:
    return replace(job, users={name: replace(user, areas={**user.areas, area: right}) for name, user in job.users.items()})


def output(job: Job, **said: Any) -> Job:
    terminal = next(rule.terminal for rule in job.outputs.values())
    return replace(job, outputs={"one": OutputRule(**{"terminal": terminal, **said})})


def one_circuit(job: Job) -> Job:
    return replace(job, zones={**job.zones, "z05": replace(job.zones["z05"], circuit=job.zones["z04"].circuit)})


GOOD: dict[str, tuple[Callable[[Job], set[str]], Callable[[], Job]]] = {
    "dwelling": (broken, good),
    "latching": (broken, latching),
    "timely": (broken, timely),
    "confirmed": (broken, confirmed),
    "left": (broken, left),
    "powered": (broken, powered),
    "lobby": (lobby, shared),
    "strobe": (strobed, with_strobe),
}
Mutant = tuple[str, str, Callable[[Job], Job]]
"""Of which good programme, what is wrong with it, and how it is made."""
MUTANTS: dict[str, list[Mutant]] = {
    "watched": [
        ("dwelling", "a window does nothing in the part set", lambda job: with_cell(job, "z04", "stay", "ignored")),
        ("dwelling", "a window chimes while set", lambda job: with_cell(job, "z03", "full", "chime")),
        ("dwelling", "a window that starts entry", lambda job: with_cell(job, "z03", "full", "final-exit")),
    ],
    "any-time": [
        ("latching", "a hold-up that does nothing while unset", lambda job: with_cell(job, "z10", "unset", "ignored")),
        ("latching", "a tamper that is an ordinary zone in part set", lambda job: with_cell(job, "z09", "stay", "immediate")),
        ("latching", "a 24-hour zone for full set only", lambda job: with_cell(job, "z05", "unset", "ignored")),
    ],
    "walk": [
        ("dwelling", "a detector on the way alarms", lambda job: with_cell(job, "z06", "full", "immediate")),
        ("dwelling", "the slowest walk takes longer than entry", lambda job: house(job, walk_s=31.0)),
        ("dwelling", "and as long as it: ties go both ways", lambda job: house(job, walk_s=30.0)),
        ("dwelling", "no time to go out in", lambda job: house(job, exit_s=10.0)),
        ("dwelling", "the door alarms", lambda job: with_cell(job, "z01", "full", "entry-route")),
    ],
    "answers": [
        ("latching", "hold-up is not sent", lambda job: reports(job, **{"hold-up": "no"})),
        ("latching", "tamper is not sent", lambda job: reports(job, tamper="no")),
        ("latching", "duress is local", lambda job: reports(job, duress="local")),
        (
            "latching",
            "a tamper sounds outside while unset",
            lambda job: under(told(job, sounds={"tamper-unset": "external"}), ruleset="en-grade-3"),
        ),
        (
            "latching",
            "a 24-hour zone does",
            lambda job: under(told(job, sounds={"24-hour-unset": "external"}), ruleset="en-grade-2"),
        ),
    ],
    "setting": [
        *(
            ("latching", f"{name} is not looked at", lambda job, name=name: told(job, prevents={name: "ignored"}))
            for name in ("open", "memory", "tamper", "hold-up", "path", "mains", "battery")
        ),
    ],
    "cancel": [
        ("dwelling", "no cancel is sent", lambda job: reports(job, cancel="no")),
        ("dwelling", "entry and abort window over a minute", lambda job: told(job, abort_s=31.0)),
        ("dwelling", "the same by entry", lambda job: house(told(job, abort_s=30.0), entry_s=31.0)),
    ],
    "confirm": [
        ("confirmed", "two zones of one circuit", one_circuit),
        ("confirmed", "nobody may unset nor set", lambda job: rights(job, "none")),
        ("confirmed", "who comes in late is confirmed by what they pass", lambda job: told(job, confirm_in_entry=True)),
        ("left", "nobody is told of a zone left inhibited", lambda job: reports(job, **{"zone-inhibited": "no"})),
    ],
    "sounds": [
        ("dwelling", "sounders without a time", lambda job: told(job, sounder_s=0.0)),
        ("dwelling", "a second too short", lambda job: told(job, sounder_s=239.0)),
        ("dwelling", "too long for Europe", lambda job: under(told(job, sounder_s=901.0), ruleset="en-grade-2")),
        ("dwelling", "in all too long for the law", lambda job: under(job, also=("uk-sounding",))),
        (
            "dwelling",
            "and for the user's own",
            lambda job: under(told(job, lock_out_trips=2), local_law={"sounding_total_s": LocalLimit(law="Bye-law 7", most_s=600.0)}),
        ),
    ],
    "strobes": [
        ("strobe", "a strobe with a pulse", lambda job: with_strobe(how="pulse")),
        ("strobe", "a strobe with a time", lambda job: with_strobe(duration_s=900.0)),
    ],
    "not-all-locked-out": [
        *(
            ("dwelling", f"{trips} until midnight", lambda job, trips=trips: told(job, lock_out_trips=trips, lock_out_reset="midnight"))
            for trips in (1, 2)
        ),
    ],
    "power": [
        ("powered", "the unit comes back unset", lambda job: with_unit(job, after_power="unset")),
        ("powered", "detectors warm up for longer", lambda job: told(job, blind_s=59.0)),
        ("powered", "that it goes is not sent", lambda job: reports(job, **{"mains-failure": "no", "low-battery": "no"})),
    ],
    "way-back": [
        ("dwelling", "nobody may unset", lambda job: rights(job, "set")),
        ("dwelling", "nobody may set", lambda job: rights(job, "unset")),
        ("dwelling", "an engineer clears, and there is none", lambda job: told(job, alarm_reset="engineer")),
        ("latching", "likewise a tamper", lambda job: told(job, tamper_reset="engineer")),
    ],
    "schedule": [
        ("timely", "no warning", lambda job: house(job, warning_s=None)),
        ("timely", "nobody told that it failed", lambda job: reports(job, **{"setting-failed": "no"})),
    ],
    "outputs": [
        ("dwelling", "follows what cannot come about", lambda job: output(job, follows="confirmed alarm")),
        ("dwelling", "over before anybody sees it", lambda job: output(job, follows="chime")),
        ("dwelling", "nobody is under duress here", lambda job: output(job, follows="duress", how="pulse", duration_s=5.0)),
    ],
    "shared": [
        ("lobby", "its setting can fail", lambda job: told(job, exit_error="fails")),
        ("lobby", "somebody may unset it alone", lambda job: rights(job, "both", "lobby")),
    ],
}  # fmt: skip
SURVIVORS: list[tuple[Mutant, str]] = [
    (
        ("dwelling", "an override is not sent", lambda job: reports(told(job, prevents={"mains": "user"}), override="no")),
        "setting asks that somebody is told: whoever overrides is, at the keypad; that it is sent too is the rules' to ask for",
    ),
    (
        ("latching", "a 24-hour zone is silent while set", lambda job: told(job, sounds={"24-hour-set": "silent"})),
        "what a 24-hour zone sounds is a cell the programme says itself, and answers holds it against the rules' cell; here there is none",
    ),
    (
        ("latching", "a hold-up sounds outside", lambda job: told(job, sounds={"hold-up-set": "external", "hold-up-unset": "external"})),
        "likewise: EN 50131-1 Table 7, as far as it was seen, leaves hold-up free",
    ),
    (
        ("dwelling", "an alarm is cleared from afar", lambda job: told(job, alarm_reset="remote")),
        "the receiving centre is somebody who may clear, and there is one",
    ),
    (
        ("dwelling", "locked out after one alarm", lambda job: told(job, lock_out_trips=1)),
        "locked out is a quiet reason with a name, the alarm before it was sent, and unsetting forgets it",
    ),
    (
        ("powered", "inputs ignored for longer than detectors warm up", lambda job: told(job, blind_s=600.0)),
        "they raise no alarm of their own; how long nothing is watched then is told among the unprotected times",
    ),
    (
        ("lobby", "nobody may set the shared area", lambda job: rights(job, "none", "lobby")),
        "it sets and unsets with the areas that share it, and needs nobody",
    ),
]
"""What breaks no promise though it looks as if it should, and why it makes no odds."""
TRIED = SURVIVORS if DEEP else SURVIVORS[::3]
CASES = [(promise, *each) for promise, found in MUTANTS.items() for each in (found if DEEP else found[:1])]


def test_every_promise_has_its_mutants() -> None:
    assert MUTANTS.keys() == PROMISES.keys()


@pytest.mark.parametrize("name", GOOD)
def test_what_the_mutants_are_made_of_is_good(name: str) -> None:
    breaks, made = GOOD[name]
    assert breaks(made()) == set()


@pytest.mark.parametrize(("promise", "of", "words", "mutant"), CASES, ids=[f"{each[0]}: {each[2]}" for each in CASES])
def test_a_mutant_breaks_its_promise(promise: str, of: str, words: str, mutant: Callable[[Job], Job]) -> None:
    breaks, made = GOOD[of]
    assert promise in breaks(mutant(made())), words


@pytest.mark.parametrize(("mutant", "why"), TRIED, ids=[each[0][1] for each in TRIED])
def test_a_mutant_that_survives_makes_no_odds(mutant: Mutant, why: str) -> None:
    of, words, made = mutant
    breaks, of_good = GOOD[of]
    assert breaks(made(of_good())) == set(), (words, why)
