"""Everything of a job that has a name, and where it is seen: found by the beginnings of its words, in any order.

The index is made of one appraisal and holds what the sheets show by name. Free notes are left out, and what is secret is not in a
document at all.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from loopwright.appraisal.appraise import Appraisal
from loopwright.job.document import Job
from loopwright.job.labels import ROWS, label_in
from loopwright.job.quantity import show_quantity
from loopwright.job.shape import ListShape, MapShape, RecordShape
from loopwright.job.speech import plain_words
from loopwright.web.dictionary import shape_of_cell
from loopwright.web.place import link_to_cell, link_to_finding

MOST_FOUND, MOST_WORDS, MOST_KEPT = 40, 8, 20_000
KINDS = (
    "room of the workbench", "paper", "premises", "device", "supply", "run", "circuit", "zone", "area", "user", "room", "storey", "joint",
    "party", "output rule", "data sheet", "battery sheet", "cable sheet", "finding", "reading on record", "cell",
)  # fmt: skip
"""What is found, in the order in which equals stand."""
_NAMED = 1
_BETWEEN = re.compile(r"[\W_]+")
# Letters that are one character to Unicode and two, or another, to whoever types them on a plain keyboard.
_PLAIN = str.maketrans({"ø": "o", "ł": "l", "đ": "d", "ð": "d", "ı": "i", "æ": "ae", "œ": "oe", "þ": "th", "Ω": "ohm", "ω": "ohm"})


class Found(NamedTuple):
    """One thing that was found: what kind of thing it is, its name, what is told of it, and the address it is seen at."""

    kind: str
    name: str
    words: str
    link: str


class _Entry(NamedTuple):
    """A thing of the index: its ids and the beginnings it is found by, folded; ``path`` where it is a row of the document."""

    found: Found
    ids: tuple[str, ...]
    name: str
    words: str
    path: str


@dataclass(frozen=True, slots=True)
class Index:
    """What can be found of one revision."""

    entries: tuple[_Entry, ...]

    def find(self, query: str, *, most: int = MOST_FOUND) -> tuple[list[Found], int]:
        """Return what has words that begin as every word of the query does, the likeliest first, and how much there is in all.

        An id that is written out stands first; an id and the words of a field lead to that cell.
        """
        words = fold(query).split()[:MOST_WORDS]
        if not words:
            return [], 0
        beginnings = [[f" {part}" for part in dict.fromkeys((word, *_parts(word)))] for word in words]
        whole = " ".join(words)
        hits = [
            (_rank(entry, whole, words), number, entry.found)
            for number, entry in enumerate(self.entries)
            if all(_has(entry.words, each) for each in beginnings)
        ]
        hits += [(_NAMED, number, cell) for number, cell in enumerate(self._cells(words))]
        hits.sort(key=lambda hit: hit[:2])
        return [hit[2] for hit in hits[:most]], len(hits)

    def _cells(self, words: list[str]) -> Iterator[Found]:
        """Yield the cells of the rows whose id is one of the words, where the others are the words of a field."""
        if len(words) < 2:
            return
        for entry in self.entries:
            if entry.path and (named := set(entry.ids) & set(words)):
                own = _told(entry.found.kind, entry.found.name)
                rest = [f" {word}" for word in words if word not in named and f" {word}" not in own]
                for path, label in _fields(entry.path) if rest else ():
                    said = _told(label)
                    if all(word in said for word in rest):
                        yield Found("cell", f"{label} of {entry.found.name}", entry.found.words, link_to_cell(path))


def fold(text: str) -> str:
    """Return a text without capitals, accents and doubled spaces.

    >>> fold("  Büro  Øst, CAFÉ "), fold("Straße 5 kΩ")
    ('buro ost, cafe', 'strasse 5 kohm')
    """
    if text.isascii():
        return " ".join(text.lower().split())
    # Taken apart twice: a letter in a style of its own has no small one until it is the plain letter, and that may come apart again.
    apart = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text).casefold().translate(_PLAIN)).casefold()
    return " ".join("".join(letter for letter in apart if not unicodedata.combining(letter)).translate(_PLAIN).split())


@lru_cache(maxsize=MOST_KEPT)
def _parts(word: str) -> tuple[str, ...]:
    """Return the parts of a folded word between its marks; nothing where it is all one."""
    return () if word.isalnum() else tuple(part for part in _BETWEEN.split(word) if part)


def _told(*texts: str) -> str:
    """Return every word of some texts, whole and in its parts, each with a space before it."""
    words: dict[str, None] = {}
    for word in fold(" ".join(texts)).split():
        words[word] = None
        for part in _parts(word):
            words[part] = None
    return " " + " ".join(words) if words else ""


def _has(told: str, beginnings: list[str]) -> bool:
    """Return whether a word as it stands begins one of those told, or else every part of it does."""
    return beginnings[0] in told or (len(beginnings) > 1 and all(part in told for part in beginnings[1:]))


def _rank(entry: _Entry, whole: str, words: list[str]) -> int:
    """Return how near a thing is to what was asked for: 0 its id, then its name, the start of its id, its name's words, the rest."""
    if whole in entry.ids:
        return 0
    if whole == entry.name.strip():
        return _NAMED
    if any(name.startswith(whole) for name in entry.ids):
        return 2
    return 3 if all(f" {word}" in entry.name for word in words) else 4


def _fields(path: str) -> Iterator[tuple[str, str]]:
    """Yield the path and the words of every single value of a row."""
    shape = shape_of_cell(path)
    for declared in shape.fields.values() if isinstance(shape, RecordShape) else ():
        if not isinstance(declared.shape, RecordShape | MapShape | ListShape) and isinstance(shape, RecordShape):
            yield f"{path}/{declared.name}", label_in(shape.record, declared.name)


def index_of(appraisal: Appraisal, rooms: Iterable[tuple[str, str]], papers: Iterable[str]) -> Index:
    """Return the index of one appraisal. ``rooms`` are the workbench's own, as (address, name), ``papers`` the names of what is printed."""
    job = appraisal.job
    entries = [_entry("room of the workbench", name, "", link, also=("sheet",)) for link, name in rooms]
    entries += [_entry("paper", plain_words(name).capitalize(), "to print", "./papers") for name in papers]
    entries += [_entry("premises", job.premises.name, job.premises.address, "./premises#c:premises/name", also=(job.title,))]
    for part in (_devices, _supplies, _wiring, _programme, _places, _sheets, _readings):
        entries += part(job)
    for item in appraisal.findings:
        found = Found("finding", item.sentence, f"{item.severity}, {item.code}", link_to_finding(item))
        entries.append(_of(found, (item.code,), "", (item.remedy, item.subject)))
    order = {kind: number for number, kind in enumerate(KINDS)}
    return Index(tuple(sorted(entries, key=lambda entry: order[entry.found.kind])))


@lru_cache(maxsize=MOST_KEPT)
def _of(found: Found, ids: tuple[str, ...], path: str, also: tuple[str, ...]) -> _Entry:
    named = tuple(fold(name) for name in ids)
    return _Entry(found, named, _told(found.name), _told(found.kind, found.name, found.words, *named, *also), path)


def _entry(kind: str, name: str, words: str, link: str, *, also: tuple[str, ...] = ()) -> _Entry:
    return _of(Found(kind, name, words, link), (), "", also)


# Kept, since after an edit most rows are what they were.
@lru_cache(maxsize=MOST_KEPT)
def _row(kind: str, path: str, name: str, words: tuple[str, ...], *, also: tuple[str, ...] = (), ids: tuple[str, ...] = ()) -> _Entry:
    """Return the entry of a row of the document: its own id stands beside its name where the name does not say it."""
    own = path.rpartition("/")[2]
    told = ", ".join(each for each in (own if own != name else "", *words) if each)
    part = path.rpartition("/")[0]
    return _of(Found(kind, name, told, link_to_cell(path)), (own, *ids), path, (ROWS.get(part, ""), *also))


def _devices(job: Job) -> Iterator[_Entry]:
    rooms = {key: room.name for storey in job.storeys.values() for key, room in storey.rooms.items()}
    for key, item in job.equipment.items():
        sheet = job.sheets.equipment[item.sheet]
        words = (plain_words(sheet.kind), rooms.get(item.room or "", ""), f"{sheet.maker} {sheet.model}")
        yield _row("device", f"equipment/{key}", item.label or key, words, also=(item.sheet, item.room or ""))


def _supplies(job: Job) -> Iterator[_Entry]:
    for key, item in job.equipment.items():
        if job.sheets.equipment[item.sheet].supply is not None:
            battery = f"battery {item.battery.sheet}" if item.battery else "no battery"
            link = link_to_cell(f"equipment/{key}/battery/sheet") if item.battery else f"./power#row:equipment/{key}"
            yield _entry("supply", item.label or key, f"{key}, {battery}", link, also=("power",))


def _wiring(job: Job) -> Iterator[_Entry]:
    def called(place: str) -> str:
        return (job.equipment[place].label or place) if place in job.equipment else place

    for key, run in job.cables.items():
        length = show_quantity(run.length_m, "m", job.region.units)
        words = (f"{called(run.start)} to {called(run.end)}", length, run.sheet)
        yield _row("run", f"cables/{key}", key, words, also=(run.start, run.end, "cable"))
    texts: dict[str, list[str]] = {}
    for zone in job.zones.values():
        texts.setdefault(zone.circuit or "", []).append(f"zone {zone.number} {zone.text}")
    for key, circuit in job.circuits.items():
        words = (*texts.get(key, ()), f"on {circuit.input}" if circuit.input else "not landed")
        devices = [text for hop in circuit.path if hop.device for text in (hop.device, called(hop.device))]
        yield _row("circuit", f"circuits/{key}", key, words, also=("detection loop", *devices))
    for key, joint in job.joints.items():
        yield _row("joint", f"joints/{key}", key, (joint.room or "",), also=("junction box",))


def _programme(job: Job) -> Iterator[_Entry]:
    for key, zone in job.zones.items():
        words = (zone.text, *(job.areas[area].name for area in zone.areas))
        yield _row("zone", f"zones/{key}", f"zone {zone.number}", words, ids=(str(zone.number),), also=(zone.circuit or "",))
    for key, area in job.areas.items():
        yield _row("area", f"areas/{key}", area.name, ())
    for key, user in job.users.items():
        yield _row("user", f"users/{key}", key, (user.role,))
    for key, rule in job.outputs.items():
        yield _row("output rule", f"outputs/{key}", key, (rule.terminal, plain_words(rule.follows)))


def _places(job: Job) -> Iterator[_Entry]:
    for key, storey in job.storeys.items():
        yield _row("storey", f"storeys/{key}", storey.name, ())
        for name, room in storey.rooms.items():
            found = Found("room", room.name, f"{name}, {storey.name}", link_to_cell(f"storeys/{key}/rooms/{name}/name"))
            yield _of(found, (name,), "", ())
    for key, party in job.parties.items():
        yield _row("party", f"parties/{key}", party.name, (party.role,))


def _sheets(job: Job) -> Iterator[_Entry]:
    for key, sheet in job.sheets.equipment.items():
        yield _row("data sheet", f"sheets/equipment/{key}", f"{sheet.maker} {sheet.model}", (plain_words(sheet.kind),))
    for key, battery in job.sheets.batteries.items():
        yield _row("battery sheet", f"sheets/batteries/{key}", f"{battery.maker} {battery.model}", (f"{battery.capacity_ah:g} Ah",))
    for key, cable in job.sheets.cables.items():
        yield _row("cable sheet", f"sheets/cables/{key}", cable.model or key, (f"{cable.cores} × {cable.gauge}",), also=("drum",))


def _readings(job: Job) -> Iterator[_Entry]:
    for number, item in enumerate(job.observations):
        words = ", ".join(each for each in (item.state, item.at, item.by, item.instrument) if each)
        link = link_to_cell(f"observations/{number}/reading")
        yield _entry("reading on record", f"{item.where}: {item.reading}", words, link, also=("observation measured",))
