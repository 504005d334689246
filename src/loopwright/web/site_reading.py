"""What is read on site, between what is typed, what explain understands, and what goes on record."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import NamedTuple

from loopwright.explain.expected.trouble import TroubleKind
from loopwright.explain.meter import Instrument
from loopwright.explain.observation import Noted, Observations, seen_of, settle
from loopwright.explain.unclear import Unclear
from loopwright.explain.weigh.likelihood import Seen
from loopwright.explain.whole.scope import PART as WHOLE
from loopwright.explain.whole.word import words
from loopwright.explain.written import Unreadable
from loopwright.job.document import Job, Observation
from loopwright.store.visit import Entry, MeterSaid

UNITS = ("Ω", "kΩ", "MΩ", "V", "mV", "A", "mA", "nF")
OVER_RANGE = "OL"
_BARE = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)")
_STATES = (("all operated", "all activated"), ("operated", "activated"), ("wire lifted", "cut before"), ("lifted", "pair lifted at"))
_PLACES = {
    "contact": "the contact",
    "battery": "the battery",
    "leads": "the battery leads",
    "fuse": "the fuse",
    "secondary": "the secondary",
}


OF_THE_WHOLE = {
    TroubleKind.EARTH: "earth", TroubleKind.LID_OPEN: "lid", TroubleKind.CLOCK_NOT_SET: "clock", TroubleKind.PATH: "path",
    TroubleKind.REPORT: "report", TroubleKind.FACTORY_CODES: "codes", TroubleKind.OLD_EVENTS: "memory", TroubleKind.SERVICE_MODE: "service",
    TroubleKind.SOUNDER_SOUNDS: "sounds",
}  # fmt: skip
"""The word of each trouble that is of the whole and not of a circuit, a supply or the bus."""


class Read(NamedTuple):
    """An entry of the visit, what explain makes of it, and why it makes nothing of it."""

    entry: Entry
    seen: Seen | None
    why: str


def understood(text: str, unit: str) -> str:
    """Return a reading with its unit: a bare number takes the unit that stands beside its box, a comma is a point, all else stays.

    >>> understood("2,21", "kΩ"), understood(" 9.4", "Ω"), understood("2k21", "Ω"), understood("OL", "kΩ")
    ('2.21 kΩ', '9.4 Ω', '2k21', 'OL')
    """
    written = " ".join(text.split())
    if written.count(",") == 1 and "." not in written:
        written = written.replace(",", ".")
    return f"{written} {unit}" if _BARE.fullmatch(written) else written


def typed(reading: str, usual: str) -> tuple[str, str]:
    """Return what stands in a box and its unit for a reading, as it was typed.

    >>> typed("2.21 kΩ", "Ω"), typed("OL", "kΩ"), typed("", "V")
    (('2.21', 'kΩ'), ('OL', 'kΩ'), ('', 'V'))
    """
    number, _, unit = reading.rpartition(" ")
    return (number, unit) if unit in UNITS and _BARE.fullmatch(number) else (reading, usual)


def instrument_of(said: MeterSaid) -> Instrument:
    """Return the meter in use; what was not said is that of a usual one."""
    numbers = {name: value for name in ("accuracy_pct", "digits", "counts") if (value := getattr(said, name)) is not None}
    return Instrument(name=said.name, **numbers)


def seen_in(job: Job, entry: Entry, meter: Instrument) -> Seen:
    """Return what explain understands of an entry. Raises Unclear or Unreadable with a sentence."""
    noted = Noted(
        where=entry.where,
        at=entry.place,
        state=entry.state,
        reading=entry.reading,
        shows=entry.shows,
        look=entry.look,
        told=entry.told,
        answer=entry.answer,
    )
    return seen_of(job, noted, meter)


def read_entry(job: Job, entry: Entry, meter: Instrument) -> Read:
    """Return an entry with what is understood of it, or why nothing is."""
    try:
        return Read(entry, seen_in(job, entry, meter), "")
    except (Unclear, Unreadable) as error:
        return Read(entry, None, str(error))


def observations_of(reads: list[Read], meter: Instrument) -> Observations:
    """Return what explain is asked with."""
    kept, contradictions = settle([each.seen for each in reads if each.seen is not None])
    return Observations(seen=kept, contradictions=contradictions, meter=meter)


def on_record(entry: Entry, instrument: str) -> dict[str, str]:
    """Return an entry as an observation of the document has it, in the words readings on record are compared by."""
    state = next((meant + entry.state[len(word) :] for word, meant in _STATES if entry.state.startswith(word)), entry.state)
    where, place = entry.where, entry.place
    if entry.look:
        where, state = f"{where}, {place}" if place else where, entry.words or f"look {entry.look}"
    elif entry.told:
        state = entry.words or entry.told
    elif place in _PLACES and entry.reading:
        where = f"across {_PLACES[place]} of {where}"
    elif place:
        where = f"{where}, {place}"
    shows = {"yes": "trouble shown", "no": "no trouble shown"}.get(entry.shows, f"keypad shows {entry.shows}")
    made = {"at": entry.at, "by": entry.by, "where": where, "state": state, "reading": entry.reading or entry.answer or shows}
    made["instrument"] = instrument if entry.reading else ""
    return {name: text for name, text in made.items() if text}


def observation_of(entry: Entry, instrument: str) -> Observation:
    """Return an entry as an observation."""
    return Observation(**on_record(entry, instrument))


def is_on_record(job: Job, entry: Entry) -> bool:
    """Return whether the document holds this entry: the same words of the same moment, whatever the meter is called."""
    wanted = on_record(entry, "")
    names = ("at", "by", "where", "state", "reading")
    return any(all(str(getattr(each, name)) == wanted.get(name, "") for name in names) for each in job.observations)


def entry_for(job: Job, kind: str, path: str) -> Mapping[str, str] | None:
    """Return how a trouble that shows is told to explain; None where it knows nothing of that kind."""
    part, _, name = path.partition("/")
    if part == "circuits":
        word = {
            TroubleKind.ZONE_OPEN: "active", TroubleKind.ZONE_SHORTED: "not at rest", TroubleKind.ZONE_TAMPER: "tamper",
            TroubleKind.ZONE_FAULT: "fault", TroubleKind.ZONE_UNCERTAIN: "not at rest", TroubleKind.WARMING_UP: "active",
        }.get(TroubleKind(kind))  # fmt: skip
        return {"where": name, "shows": word} if word else None
    known = part == "equipment" and name in job.equipment
    if (whole := OF_THE_WHOLE.get(TroubleKind(kind))) is not None:
        return {"where": name if known else WHOLE, "place": whole, "shows": "yes", "words": f"{words()[whole].asks}?"}
    if not known:
        return None
    place = {
        TroubleKind.MAINS_MISSING: "mains", TroubleKind.BATTERY_MISSING: "battery", TroubleKind.BATTERY_LOW: "battery",
        TroubleKind.OUTPUT_OVERLOADED: "aux",
    }.get(TroubleKind(kind))  # fmt: skip
    sheet = job.sheet_of(name)
    if place is not None:
        return {"where": name, "place": place, "shows": "yes"} if sheet.supply is not None else None
    if kind == TroubleKind.MODULE_MISSING and sheet.addressed:
        return {"where": name, "shows": "yes"}
    if kind == TroubleKind.MODULE_UNKNOWN and sheet.addressed:
        return {"where": name, "place": "ghost", "shows": "yes"}
    watched = [output for output, spec in sheet.outputs.items() if spec.supervision is not None]
    if kind == TroubleKind.SOUNDER_CIRCUIT and len(watched) == 1:
        return {"where": f"{name}.{watched[0]}", "shows": "yes"}
    return None
