"""The places at a unit where the programme is kept: each setting of its sheet, once for every row it is entered for."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

from loopwright.job.document import Job
from loopwright.job.labels import label_at, place_words, row_words
from loopwright.job.shape import BoolShape, ListShape, MapShape, NumberShape, RecordShape, Shape, TextShape, WordShape, shape_at
from loopwright.job.sheet import Setting
from loopwright.keying.form import SECONDS, Form, Kind, Unfit, Value

CLOCK = "clock"
CODES = "codes/"
CODES_OF_USERS = frozenset({"user", "duress"})
CODES_OF_UNIT = frozenset({"installer", "account", "key"})
NAMES = {"zones": "zone", "areas": "area", "users": "user", "equipment": "device", "outputs": "output", "paths": "path"}
"""What stands in an address for the number of a row, by the part of the document the row is of."""
PARTS = frozenset({"areas", "zones", "users", "programme", "outputs", "signalling", "equipment"})
"""Parts of the document a control unit is told of."""
_OF_UNIT = {"installer": "the installer's code", "account": "the account number", "key": "the key of the path"}
HOLE = re.compile(r"\{([a-z]+)\}")
YES, NO = "yes", "no"


class Row(NamedTuple):
    """One row a setting is entered for: its name in the document, and the number it has at the unit; no name for one nobody uses."""

    name: str
    number: int


@dataclass(frozen=True, kw_only=True)
class Spot:
    """One setting for one row: where it is entered, how, and what the programme wants there; None where it says nothing."""

    setting: str
    sheet: Setting
    form: Form
    path: str
    words: str
    address: str
    rows: tuple[Row, ...]
    wanted: Value | None
    order: int

    @property
    def key(self) -> str:
        """Return the name of the spot: the setting and its rows, by number."""
        return "/".join((self.setting, *(str(row.number) for row in self.rows)))

    @cached_property
    def default(self) -> Value:
        """Return what the factory left there. Raises Unfit where the sheet's default is nothing the unit could hold."""
        text = HOLE.sub(lambda hole: str(self._number(hole[1])), self.sheet.default)
        return self.form.said(text)

    def _number(self, name: str) -> object:
        return next((row.number for row in self.rows), f"{{{name}}}")


def units_of(job: Job) -> list[str]:
    """Return the pieces of equipment whose sheet ties settings to the programme."""
    return [name for name in job.equipment if any(setting.of for setting in job.sheet_of(name).settings.values())]


def spots_of(job: Job, unit: str) -> list[Spot]:
    """Return every place at a unit where something of the programme is kept, in the order of its sheet.

    A setting whose ``of`` names nothing of the document has none; :mod:`loopwright.keying.check` says so.
    """
    found: list[Spot] = []
    sheet = job.sheet_of(unit)
    for name, setting in sheet.settings.items():
        form = form_of(job, setting)
        if form is None or not names_its_rows(setting):
            continue
        for rows in _rows(job, unit, setting):
            found.append(_spot(job, name, setting, form, rows, len(found)))
    return found


def _spot(job: Job, name: str, setting: Setting, form: Form, rows: tuple[Row, ...], order: int) -> Spot:
    path = path_of(setting, rows)
    address = filled(setting, rows)
    if setting.of.endswith("/*") and form.kind is Kind.CHOICE and shape_is_row(setting.of):
        wanted: Value | None = YES if rows[-1].name else NO
        words = f"{row_words(job, path)} in use" if rows[-1].name else f"{NAMES[star_parts(setting)[-1]]} {rows[-1].number} not used"
    else:
        wanted, words = wanted_of(job, path, form), words_of(job, path, form)
    return Spot(setting=name, sheet=setting, form=form, path=path, words=words, address=address, rows=rows, wanted=wanted, order=order)


def words_of(job: Job, path: str, form: Form) -> str:
    """Return what a place of the programme is called by people. A code goes by whose it is."""
    if form.kind is Kind.CLOCK:
        return "date and time"
    if form.kind is Kind.SECRET:
        use, _, name = path.removeprefix(CODES).partition("/")
        role = job.users[name].role if name in job.users else name
        return f"the {'' if use == 'user' else use + ' '}code of {role}" if name else _OF_UNIT[use]
    parts = path.split("/")
    if parts[0] == "zones" and parts[2:3] == ["response"]:
        return f"what {row_words(job, path)} does{', ' + parts[3].replace('-', ' ') if parts[3:] else ''}"
    if parts[0] == "areas" and len(parts) == 3:
        return f"{label_at(path)} of {job.areas[parts[1]].name}"
    return f"{parts[2].replace('-', ' ')} reported" if path.startswith("signalling/reports/") else place_words(job, path)


def star_parts(setting: Setting) -> list[str]:
    """Return the parts of the document the stars of a setting's ``of`` run over."""
    parts = setting.of.split("/")
    over = [parts[at - 1] for at, part in enumerate(parts) if part == "*" and at]
    return ["users" if each in CODES_OF_USERS else each for each in over]


def names_its_rows(setting: Setting) -> bool:
    """Return whether the address has a number for every kind of row the setting is entered for; a unit with one such row needs none."""
    named = set(HOLE.findall(setting.address))
    return named == holes_of(setting) or (not named and setting.up_to == 1)


def holes_of(setting: Setting) -> set[str]:
    """Return what has to stand in braces in the address: a name for every kind of row."""
    return {NAMES.get(part, part) for part in star_parts(setting)}


def shape_is_row(of: str) -> bool:
    """Return whether a setting is about a row as a whole: whether there is one."""
    return isinstance(shape_at(of.replace("*", "x")), RecordShape)


def shape_of(setting: Setting) -> Shape | None:
    """Return the shape of what a setting holds; None where ``of`` names nothing a control unit is told."""
    parts = setting.of.split("/")
    if parts[0] not in PARTS or any(part not in NAMES for part in star_parts(setting)):
        return None
    shape = shape_at(setting.of.replace("*", "x"))
    if isinstance(shape, RecordShape):
        return shape if setting.of.endswith("/*") else None
    if isinstance(shape, MapShape):
        return shape if isinstance(shape.value, TextShape | WordShape) else None
    return shape


def form_of(job: Job, setting: Setting) -> Form | None:
    """Return how a setting is keyed; None where its ``of`` names nothing a control unit is told."""
    if setting.of == CLOCK:
        return Form(kind=Kind.CLOCK)
    if setting.of.startswith(CODES):
        uses = setting.of.removeprefix(CODES).split("/")
        known = (len(uses) == 1 and uses[0] in CODES_OF_UNIT) or (uses[0] in CODES_OF_USERS and len(uses) == 2)
        return Form(kind=Kind.SECRET) if known else None
    shape = shape_of(setting)
    if shape is None:
        return None
    if isinstance(shape, ListShape):
        return Form(kind=Kind.TICKS, options=setting.choices or _numbered(job, setting.of))
    if setting.choices or not isinstance(shape, NumberShape | TextShape):
        return Form(kind=Kind.CHOICE, options=setting.choices or _plain(shape))
    if isinstance(shape, TextShape):
        return Form(kind=Kind.TEXT, longest=setting.longest, characters=setting.characters)
    timed = shape.quantity.unit == "s"
    unit = (setting.unit or "s") if timed else ""
    return Form(
        kind=Kind.NUMBER, unit=unit, unit_s=SECONDS[unit] if unit else 1.0, digits=setting.digits, least=setting.least, most=setting.most,
        step=setting.step if setting.step else 1.0,
    )  # fmt: skip


def _numbered(job: Job, of: str) -> Mapping[str, str]:
    """Return the rows of the part a list names, each keyed by its number."""
    part = "zones" if of.endswith(("entry_doors", "walked_past")) else "areas"
    return {row.name: str(row.number) for row in _named(job, part, "")}


def _plain(shape: Shape) -> Mapping[str, str]:
    if isinstance(shape, WordShape):
        return {str(word): str(word) for word in shape.words}
    return {YES: YES, NO: NO} if isinstance(shape, BoolShape | RecordShape) else {}


def _rows(job: Job, unit: str, setting: Setting) -> Iterator[tuple[Row, ...]]:
    """Yield the rows a setting is entered for; one without a star is entered once."""
    found: list[tuple[Row, ...]] = [()]
    for part in star_parts(setting):
        rows = _named(job, part, unit)
        if shape_is_row(setting.of) and setting.up_to is not None:
            taken = {row.number for row in rows}
            rows += [Row("", number) for number in range(1, setting.up_to + 1) if number not in taken]
            rows.sort(key=lambda row: row.number)
        found = [(*before, row) for before in found for row in rows]
    yield from found


def _named(job: Job, part: str, unit: str) -> list[Row]:
    """Return the rows of a part with the number each has at the unit: a zone's own, a device's address, else its place in the list."""
    if part == "zones":
        return [Row(name, zone.number) for name, zone in job.zones.items()]
    if part == "equipment":
        there = [(name, item.address) for name, item in job.equipment.items() if name != unit and job.sheet_of(name).addressed]
        return [Row(name, address) for name, address in there if address is not None]
    names: Mapping[str, object] = job.signalling.paths if part == "paths" else getattr(job, part)
    return [Row(name, number) for number, name in enumerate(names, 1)]


def path_of(setting: Setting, rows: tuple[Row, ...]) -> str:
    """Return the place in the document, the rows' names put in for the stars."""
    names = iter(rows)
    return "/".join(next(names).name if part == "*" else part for part in setting.of.split("/"))


def filled(setting: Setting, rows: tuple[Row, ...]) -> str:
    """Return the address with the rows' numbers put in."""
    numbers = {NAMES[part]: str(row.number) for part, row in zip(star_parts(setting), rows, strict=True)}
    return HOLE.sub(lambda hole: numbers.get(hole[1], hole[0]), " ".join(setting.address.split()))


def wanted_of(job: Job, path: str, form: Form) -> Value | None:
    """Return what the programme wants; None where it says nothing. A code is wanted whatever it is, and so is the time."""
    if form.kind in (Kind.SECRET, Kind.CLOCK):
        user = job.users.get(path.rpartition("/")[2]) if path.startswith(CODES) else None
        # Who may do nothing in any area needs no code of a user.
        return None if user is not None and user.areas and set(user.areas.values()) == {"none"} else ""
    if path not in job.given:
        return None
    value = _at(job, path)
    if isinstance(value, bool):
        return YES if value else NO
    if isinstance(value, int | float):
        return float(value) if form.kind is Kind.NUMBER else f"{value:.10g}"
    if isinstance(value, Mapping):
        states = ("unset", "full", *job.programme.part_sets)
        order = [key for key in states if key in value] + [key for key in value if key not in states]
        return "_".join(str(value[key]) for key in order) or None
    if isinstance(value, tuple):
        return tuple(str(each) for each in value)
    return None if value is None else " ".join(str(value).split())


def _at(job: Job, path: str) -> Any:  # noqa: ANN401 - a field holds a value of any type
    value: Any = job
    for name in path.split("/"):
        value = value.get(name) if isinstance(value, Mapping) else getattr(value, name, None)
    return value


def too_high(spot: Spot) -> Unfit | None:
    """Return why a row has no place at the unit; None where it has one."""
    most = spot.sheet.up_to
    row = next((row for row in spot.rows if most is not None and row.number > most), None)
    if row is None:
        return None
    return Unfit(f"There is no place for number {row.number}.", f"This unit has {most}.")
