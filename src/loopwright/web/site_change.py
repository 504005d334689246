"""What is said on site, from what a page posts to a change of the visit. Bad input names its field and what would be right."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Annotated, Any, Literal, NoReturn

from pydantic import BaseModel, Field

from loopwright.explain.expected.situation import ORDER, Step
from loopwright.explain.expected.trouble import TroubleKind
from loopwright.explain.terminal import circuit_of
from loopwright.explain.unclear import Unclear
from loopwright.explain.whole.event_times import events_in
from loopwright.explain.whole.scope import PART as WHOLE
from loopwright.explain.whole.told import MONTH_FIRST, TIMES
from loopwright.explain.whole.word import words as questions
from loopwright.explain.written import Unreadable
from loopwright.job.document import Job
from loopwright.store.file import StoreError
from loopwright.store.said import Over
from loopwright.store.visit import Charged, Entry, MeterSaid, Said, Visit
from loopwright.values.error import JobError, Problem
from loopwright.web.site_reading import entry_for, instrument_of, seen_in, understood

LONGEST_SAID, MOST_PARTS = 300, 20
LOG, LONGEST_LOG = "answer", 40_000
"""The one field a whole log is pasted into, and how long that may be; of it only the times are kept."""
TOO_LONG = f"That is longer than {LONGEST_SAID} characters. Write it shorter; a whole log stands only where times are asked for."
LONGEST_ON_MAINS_MIN = 60 * 24 * 31
METER_BOUNDS = {"accuracy_pct": (0.0, 100.0, "per cent"), "digits": (0.0, 100.0, "digits"), "counts": (100.0, 1e7, "counts")}
NOTED = ("where", "place", "state", "reading", "shows", "look", "told", "answer", "words")
Text = Annotated[str, Field(max_length=LONGEST_SAID)]


class SiteChange(BaseModel, extra="forbid"):
    """One thing said on site. ``visit`` is the one the page shows, ``mark`` names the change, which is made once."""

    do: Literal[
        "step",
        "mains",
        "charge",
        "looked",
        "shown",
        "note",
        "take-out",
        "put-back",
        "meter",
        "ask",
        "why",
        "record",
        "anew",
        "back",
        "dead",
        "past",
        "old",
        "old-out",
        "run",
        "run-out",
    ]
    visit: str = Field(default="", max_length=40)
    mark: str = Field(min_length=8, max_length=64)
    id: str = Field(default="", max_length=64)
    step: Step | None = None
    kind: TroubleKind | None = None
    place: Text = ""
    on: bool | None = None
    text: Text = ""
    unit: str = Field(default="", max_length=4)
    ask: bool = False
    fields: dict[str, Annotated[str, Field(max_length=LONGEST_LOG)]] = Field(default_factory=dict, max_length=MOST_PARTS)
    query: str = Field(default="", max_length=8000)
    held: str = Field(default="", max_length=64)


class Moment:
    """Who says something, and when: as it is kept, and as people write it."""

    def __init__(self, by: str, iso: str, minute: str) -> None:
        self.by, self.iso, self.minute = by, iso, minute


def changed(change: SiteChange, visit: Visit, job: Job, now: Moment) -> Visit:
    """Return the visit with what was said. Raises JobError with the field and the words."""
    for name, text in change.fields.items():
        if len(text) > LONGEST_SAID and name != LOG:
            refuse(name, TOO_LONG)
    match change.do:
        case "step":
            return _stepped(change, visit)
        case "mains":
            return _mains(change, visit, now)
        case "charge":
            return _charged(change, visit, job, now)
        case "looked":
            return replace(visit, looked=bool(change.on), shown=())
        case "shown":
            return _shown(change, visit, job)
        case "note" | "why":
            return _noted(change, visit, job, now)
        case "take-out" | "put-back":
            out = change.do == "take-out"
            return replace(visit, entries=tuple(replace(each, out=out) if each.id == change.id else each for each in visit.entries))
        case "meter":
            return _metered(change, visit)
        case "ask":
            return replace(visit, asked=tuple(each.id for each in visit.standing))
        case _:
            refuse("", "That is nothing that is said of a visit.")


def refuse(path: str, message: str) -> NoReturn:
    """Raise JobError for a field of what was posted."""
    raise JobError([Problem(path=path, line=0, column=0, message=message)])


def problems_of(error: JobError | StoreError) -> tuple[Problem, ...]:
    """Return what keeps something from being said: what is wrong with it, its visit or proving is over, or the file is not written."""
    if isinstance(error, JobError):
        return error.problems
    return (Problem(path="over" if isinstance(error, Over) else "kept", line=0, column=0, message=str(error)),)


def _stepped(change: SiteChange, visit: Visit) -> Visit:
    """Say of a step that it is done or not; said everywhere it holds at every place, and ``on`` unsaid takes back what was said."""
    if change.step is None:
        refuse("step", f"Which step is meant? One of: {', '.join(ORDER)}.")
    kept = tuple(each for each in visit.said if each.step != change.step or (change.place and each.place != change.place))
    made = () if change.on is None else (Said(step=change.step, place=change.place, done=change.on),)
    return replace(visit, said=(*kept, *made))


def _number(text: str, path: str, words: str, low: float, high: float) -> float:
    """Return a number a person typed. Raises JobError."""
    try:
        value = float(text.strip().removesuffix("%").strip().replace(",", "."))
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        refuse(path, f"‘{text.strip()}’ cannot stand here. {words}")
    return value


def _mains(change: SiteChange, visit: Visit, now: Moment) -> Visit:
    """Note since when the mains is on, from the minutes it has been."""
    if not change.text.strip():
        return replace(visit, mains_at="")
    minutes = _number(change.text, "mains", "Write the minutes since the mains came on, for example 12.", 0, LONGEST_ON_MAINS_MIN)
    return replace(visit, mains_at=(datetime.fromisoformat(now.iso) - timedelta(minutes=minutes)).isoformat(timespec="seconds"))


def _charged(change: SiteChange, visit: Visit, job: Job, now: Moment) -> Visit:
    if change.place not in job.equipment:
        refuse(f"charge:{change.place}", "There is no such supply in this job.")
    kept = tuple(each for each in visit.charge if each.supply != change.place)
    if not change.text.strip():
        return replace(visit, charge=kept)
    words = "Write the state of charge in per cent, 0 to 100, for example 40."
    share = _number(change.text, f"charge:{change.place}", words, 0, 100) / 100
    return replace(visit, charge=(*kept, Charged(supply=change.place, charge=share, at=now.iso)))


def _shown(change: SiteChange, visit: Visit, job: Job) -> Visit:
    """Note that the keypad shows a trouble, or no longer does."""
    if change.kind is None:
        refuse("kind", "Choose what shows.")
    one = (str(change.kind), _path_of(job, change.place))
    kept = tuple(each for each in visit.shown if each != one)
    return replace(visit, looked=True, shown=(*kept, one) if change.on is not False else kept)


def _path_of(job: Job, place: str) -> str:
    """Return the document path of a place by its path or its name. Raises JobError."""
    part, _, name = place.partition("/")
    rows = {"equipment": job.equipment, "circuits": job.circuits}
    if not place or place == "signalling" or (part in rows and name in rows[part]):
        return place
    if part == "signalling" and name.removeprefix("paths/") in job.signalling.paths:
        return place
    if place in job.equipment:
        return f"equipment/{place}"
    if (circuit := circuit_of(job, place)) is not None:
        return f"circuits/{circuit}"
    refuse("place", f"‘{place}’ is not in this job. Write a piece of equipment, a circuit or a zone, or leave it empty.")


def _noted(change: SiteChange, visit: Visit, job: Job, now: Moment) -> Visit:
    """Put in an entry, or put one right; of a trouble that shows (why) in the words explain has for it."""
    said: dict[str, Any] = {name: change.fields.get(name, "").strip() for name in NOTED}
    if change.do == "why":
        told = entry_for(job, str(change.kind), change.place) if change.kind is not None else None
        if told is None:
            refuse("", "Nothing is known that would explain a trouble of this kind.")
        said |= told
    if sum(bool(said[name]) for name in ("reading", "shows", "look", "told")) != 1:
        refuse("reading", "Write what the meter shows, or choose what the keypad shows: one of the two.")
    if said["reading"]:
        said["reading"] = understood(said["reading"], change.unit)
    if said["told"] == TIMES and any(letter.isdigit() for letter in said[LOG]):
        said[LOG] = _times_of(job, said["where"], said[LOG])
    if len(said[LOG]) > LONGEST_SAID and said["told"] != TIMES:
        refuse(LOG, TOO_LONG)
    if said["told"] in questions():
        said["words"] = f"{questions()[said['told']].asks}?" + (f" ({said['where']})" if said["where"] != WHOLE else "")
    elif not said["told"]:
        said["where"] = circuit_of(job, said["where"]) or said["where"]
    where = said["where"]
    if not where:
        refuse("where", "Say where: a circuit, a zone, a device, an output such as control.aux-1, or a supply.")
    before = next((each for each in visit.entries if each.id == change.id), None) if change.id else None
    entry = Entry(id=change.mark, at=now.minute, by=now.by, **said)
    try:
        seen_in(job, entry, instrument_of(visit.meter))
    except Unreadable as error:
        refuse("reading", str(error))
    except Unclear as error:
        refuse("where", str(error))
    entries = tuple(entry if each is before else each for each in visit.entries) if before else (*visit.entries, entry)
    made = replace(visit, entries=entries)
    return replace(made, asked=tuple(each.id for each in made.standing)) if change.ask or change.do == "why" else made


def _times_of(job: Job, where: str, text: str) -> str:
    """Return the times of a log, and nothing else of it: a log names people, and may hold codes."""
    zone = job.zones[where].number if where in job.zones else None
    events = events_in(text, zone=zone, month_first=job.region.country == MONTH_FIRST)
    times = [f"{f'{each.day} ' if each.day else ''}{each.minute // 60:02}:{each.minute % 60:02}" for each in events]
    return ", ".join(times) or text[:LONGEST_SAID]


def _metered(change: SiteChange, visit: Visit) -> Visit:
    """Note which meter is in use."""
    made: dict[str, float | None] = {}
    for name, (low, high, words) in METER_BOUNDS.items():
        text = change.fields.get(name, "")
        made[name] = _number(text, name, f"Write a number of {words}, {low:g} to {high:g}.", low, high) if text.strip() else None
    return replace(visit, meter=MeterSaid(name=change.fields.get("name", "").strip(), **made))
