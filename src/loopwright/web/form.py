"""Forms that put something in, made from the records of the document: one entry for each field, one section for each part."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from loopwright.job.document import Job
from loopwright.job.labels import ROWS, label_at, label_in
from loopwright.job.shape import BoolShape, FieldShape, ListShape, MapShape, RecordShape, Shape, TextShape
from loopwright.job.speech import plain_words
from loopwright.rules.ruleset import rulesets
from loopwright.web.change import next_id
from loopwright.web.dictionary import cell_unit, choice_key, shape_of_cell, shown, ticked, value_at, words_of
from loopwright.web.entered import FITTED, NAME, TICK

MANY = {"outputs": 1, "discharge": 3, "feeds": 1, "path": 1, "loads": 1, "settings": 1}
"""How many empty rows a form offers before more are asked for; a row left empty is not put in."""
NAMED = {"loads": ("supply",), "contacts": ("alarm", "tamper", "fault")}
"""Names the trade gives to rows of these, offered beforehand."""
NEXT = "{next}"
"""Stands in the names and titles of a pattern for the number of the row that is made from it."""
LEFT_OUT = frozenset({"invented", "end_resistors", "rooms", "part_sets", "choices", "after"})
SCALED = {"cables": "W", "circuits": "c", "zones": "z"}
BANDS = {
    "none": ("rest", "open"), "single": ("short", "rest", "open"), "double": ("short", "rest", "active", "open"),
    "triple": ("short", "rest", "active", "fault", "active-and-fault", "open"),
    "two-zones": ("short", "rest", "active", "fault", "active-and-fault", "open"),
}  # fmt: skip
LONG_TEXT = 200
RESPONSES = ("ignored", "chime", "immediate", "entry-route", "final-exit", "24-hour", "hold-up")
"""What zones commonly do (common practice, no source); a job may say anything."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Entry:
    """One thing asked for: the name it is posted under, its words, what it means, and how it is answered."""

    name: str
    label: str
    hint: str = ""
    kind: str = "text"
    unit: str = ""
    words: tuple[tuple[str, str], ...] = ()
    choices: str = ""
    value: str = ""
    needed: bool = False
    usual: str = ""


@dataclass(kw_only=True, slots=True)
class Section:
    """A part of a form, with parts of its own; a folded one is opened when it is wanted.

    One whose parts are rows of a kind has the ``pattern`` of a further one, and the ``number`` that one is to have.
    """

    title: str
    hint: str = ""
    entries: list[Entry] = field(default_factory=list)
    sections: list[Section] = field(default_factory=list)
    pattern: Section | None = None
    number: int = 0
    row: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Form:
    """A form: where what it holds is put in, its title, and its parts."""

    what: str
    title: str
    body: Section
    lists: Mapping[str, list[tuple[str, str]]] = field(default_factory=dict)


def form_of(job: Job, what: str, given: Mapping[str, str] | None = None) -> Form | None:
    """Return the form that puts an entry into a part of the document; None where nothing can be put in.

    ``given`` are the words some fields are filled in with beforehand.
    """
    shape = shape_of_cell(what)
    body = Section(title="")
    if isinstance(shape, MapShape):
        row = _row_words(what)
        body.entries.append(_name(job, what))
        inside, at = shape.value, f"{what}/x"
    elif isinstance(shape, ListShape):
        row, inside, at = ROWS.get(what, label_at(what)), shape.item, f"{what}/0"
    elif isinstance(shape, RecordShape) and "/" in what:
        row, inside, at = label_at(what), shape, what
    else:
        return None
    if isinstance(inside, RecordShape):
        _fill(job, body, inside, at, "")
    else:
        words = "what is keyed for it" if what.endswith("/choices") else ROWS.get(what, "value")
        body.entries.append(_entry(job, inside, at, "value", words, "", True))
    if given:
        body.entries = [replace(entry, value=given.get(entry.name, entry.value)) for entry in body.entries]
    lists = {"usual-responses": [(word, "") for word in RESPONSES]} if what == "zones" else {}
    if what == "observations":
        body.entries = [replace(entry, usual=USUAL.get(entry.name, "")) for entry in body.entries]
        lists |= {"usual-places": reading_places(job), "usual-states": [(words, "") for words in STATES]}
    return Form(what=what, title=f"Put in: {row}", body=body, lists=lists)


USUAL = {"where": "usual-places", "state": "usual-states"}
STATES = (
    "at rest", "activated", "lid open", "shorted", "cut", "unset, on mains", "set, on mains", "alarm, on mains", "set, on battery",
    "alarm, on battery",
)  # fmt: skip
"""States that a reading on record is held against a forecast in; any other words may be written."""


def reading_places(job: Job) -> list[tuple[str, str]]:
    """Return the places at which a reading is held against a forecast, with what people call them."""
    zones = {zone.circuit: zone.text for zone in job.zones.values()}
    outputs = [(f"{key}.{name}", item.label) for key, item in job.equipment.items() for name in job.sheet_of(key).outputs]
    fed = [(key, item.label) for key, item in job.equipment.items() if job.sheet_of(key).loads]
    return [*((key, zones.get(key, "")) for key in job.circuits), *fed, *outputs]


def _name(job: Job, what: str) -> Entry:
    """Return the entry for the name of the row to put in."""
    shape = shape_of_cell(what)
    if isinstance(shape, MapShape) and (words := words_of(shape.key)):
        left = tuple((word, _time_words(word)) for word in words if word not in value_at(job, what))
        return Entry(name="id", label="which one", kind="words", words=left, needed=True)
    if what.endswith("/end_resistors"):
        return Entry(name="id", label="across output", hint="the output's name on the data sheet", needed=True)
    if what.endswith("/choices"):
        return Entry(
            name="id", label="word of the programme", hint="such as yes, immediate or an area; none for nothing ticked", needed=True
        )
    if what.startswith("sheets/") and what.count("/") > 1:
        return Entry(name="id", label="its name", hint="letters, digits, hyphens and underscores", needed=True)
    return Entry(name="id", label="name in the document", hint=_NAME_HINT, needed=True, value=_suggested(job, what))


def _time_words(key: str) -> str:
    """Return the key of a time as people say it: ``entry_s`` is the entry time."""
    return f"{plain_words(key.removesuffix('_s'))} time" if key.endswith("_s") else plain_words(key)


_NAME_HINT = "letters, digits, hyphens and underscores; cables and circuits refer to it"


def _row_words(what: str) -> str:
    return ROWS.get(what) or {"loads": "supply input", "rooms": "room"}.get(what.rpartition("/")[2]) or label_at(what)


def _suggested(job: Job, what: str) -> str:
    return next_id(getattr(job, what), SCALED[what]) if what in SCALED else ""


def _fill(job: Job, section: Section, shape: RecordShape, path: str, lead: str) -> None:
    """Put the fields of a record into a section: single values as entries, the rest as sections below it."""
    for declared in shape.fields.values():
        if declared.name in LEFT_OUT:
            continue
        at, name, inner = f"{path}/{declared.name}", f"{lead}{declared.name}", declared.shape
        label = label_in(shape.record, declared.name)
        if isinstance(inner, RecordShape):
            below = Section(title=label, hint=declared.doc)
            _fill(job, below, inner, at, f"{name}/")
            section.sections.append(below)
        elif isinstance(inner, MapShape):
            section.sections += _rows(job, inner, declared, at, name, label)
        elif isinstance(inner, ListShape):
            _list(job, section, inner, declared, (at, name, label))
        else:
            section.entries.append(_entry(job, inner, at, name, label, _hint(declared, label), declared.required))


def _hint(declared: FieldShape, label: str) -> str:
    return "" if declared.doc.rstrip(".").lower() == label.lower() else declared.doc


def _rows(job: Job, shape: MapShape, declared: FieldShape, at: str, name: str, label: str) -> list[Section]:
    """Return the sections of a mapping's rows."""
    inner, words = shape.value, words_of(shape.key)
    if not isinstance(inner, RecordShape | ListShape | MapShape):
        entries = [_entry(job, inner, f"{at}/{key}", f"{name}/{key}", said, "", False) for key, said in _keys(job, declared.name)]
        if declared.name == "response":
            entries = [replace(entry, usual="usual-responses") for entry in entries]
        return [Section(title=label, hint=declared.doc, entries=entries)]
    if words:
        below = Section(title=label, hint=declared.doc)
        for word in words:
            part = Section(title=plain_words(word))
            _inside(job, part, inner, f"{at}/{word}", f"{name}/{word}")
            below.sections.append(part)
        return [below]
    assert isinstance(inner, RecordShape)
    place, count, named = (at, name, label), MANY.get(declared.name, 0), NAMED.get(declared.name, ())
    below = Section(title=label, hint=declared.doc)
    below.sections = [_named_row(job, inner, declared, place, str(number)) for number in range(max(count, len(named)))]
    if declared.name != "contacts":
        below.pattern, below.number = _named_row(job, inner, declared, place, NEXT), len(below.sections) + 1
    return [below]


def _named_row(job: Job, inner: RecordShape, declared: FieldShape, place: tuple[str, str, str], number: str) -> Section:
    at, name, label = place
    known = NAMED.get(declared.name, ())
    given = known[int(number)] if number.isdecimal() and int(number) < len(known) else ""
    below = Section(title=f"{label}: {given}" if given else f"{label} {_ordinal(number)}", row=True)
    if declared.name == "contacts":
        below.entries.append(Entry(name=f"{name}/{given}/{FITTED}", label="it has this contact", kind="tick"))
        _fill(job, below, inner, f"{at}/x", f"{name}/{given}/")
    else:
        below.entries.append(Entry(name=f"{name}/{NAME}{number}/{NAME}", label="its name", value=given))
        _fill(job, below, inner, f"{at}/x", f"{name}/{NAME}{number}/")
    return below


def _ordinal(number: str) -> str:
    return str(int(number) + 1) if number.isdecimal() else number


def _keys(job: Job, name: str) -> list[tuple[str, str]]:
    """Return the keys a mapping of single values has in this job, with their words."""
    if name == "response":
        return [(state, plain_words(state)) for state in ("unset", "full", *job.programme.part_sets)]
    return [(key, area.name) for key, area in job.areas.items()] if name == "areas" else []


def _inside(job: Job, part: Section, inner: Shape, at: str, name: str) -> None:
    """Put the inside of one entry of a mapping by words into its section."""
    if isinstance(inner, RecordShape):
        _fill(job, part, inner, at, f"{name}/")
    elif isinstance(inner, ListShape) and isinstance(inner.item, RecordShape):
        reads = BANDS.get(name.rpartition("/")[2], ())
        for number, read in enumerate(reads):
            for field_name, declared in inner.item.fields.items():
                label = f"{plain_words(read)}, {label_in(inner.item.record, field_name)}"
                entry = _entry(job, declared.shape, f"{at}/0/{field_name}", f"{name}/{number}/{field_name}", label, "", False)
                hidden = field_name == "reads"
                part.entries.append(Entry(name=entry.name, label=label, kind="given", value=read) if hidden else entry)


def _list(job: Job, section: Section, inner: ListShape, declared: FieldShape, place: tuple[str, str, str]) -> None:
    at, name, label = place
    rows = ticked(job, at)
    if rows is not None:
        for value, words in rows:
            section.entries.append(Entry(name=f"{name}/{TICK}{value}", label=f"{label}: {words}", kind="tick"))
    elif isinstance(inner.item, RecordShape):
        below = Section(title=label, hint=declared.doc)
        count = MANY.get(declared.name, 1)
        below.sections = [_list_row(job, inner.item, at, name, label, str(number)) for number in range(count)]
        below.pattern, below.number = _list_row(job, inner.item, at, name, label, NEXT), count + 1
        section.sections.append(below)


def _list_row(job: Job, inner: RecordShape, at: str, name: str, label: str, number: str) -> Section:
    part = Section(title=f"{label} {_ordinal(number)}", row=True)
    _fill(job, part, inner, f"{at}/0", f"{name}/{number}/")
    return part


def _entry(job: Job, shape: Shape, path: str, name: str, label: str, hint: str, needed: bool) -> Entry:
    """Return the entry of a single value."""
    words = tuple(rulesets()) if path == "region/ruleset" else words_of(shape)
    unit = shown(path, None, job.region.units)[1]
    kind = "words" if words else "choice" if choice_key(shape) else "text"
    if isinstance(shape, TextShape) and shape.longest > LONG_TEXT:
        kind = "lines"
    if isinstance(shape, BoolShape):
        kind, words = "tick", ()
    said = tuple((word, plain_words(word)) for word in words)
    value = next_number(job) if path == "zones/x/number" else ""
    return Entry(
        name=name, label=label, hint=hint, kind=kind, unit=cell_unit(path, unit, job.region.units), words=said,
        choices=choice_key(shape), value=value, needed=needed,
    )  # fmt: skip


def next_number(job: Job) -> str:
    """Return the next zone number that is free."""
    return str(max((zone.number for zone in job.zones.values()), default=0) + 1)
