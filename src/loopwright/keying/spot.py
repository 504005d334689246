"""The places at a unit where the programme is kept: each setting of its sheet, once for every row it is entered for."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from loopwright.job.document import Job
from loopwright.job.labels import label_at, place_words, row_words
from loopwright.job.shape import BoolShape, ListShape, MapShape, NumberShape, RecordShape, Shape, TextShape, WordShape, shape_at
from loopwright.job.sheet import EquipmentSheet, Setting
from loopwright.keying.form import SECONDS, Form, Kind, Unfit, Value
from loopwright.keying.row import CODES_OF_USERS, NAMES, Row, named_rows, rows_of, star_parts

CLOCK = "clock"
CODES = "codes/"
CODES_OF_UNIT = frozenset({"installer", "account", "key"})
PARTS = frozenset({"areas", "zones", "users", "programme", "outputs", "signalling", "equipment"})
"""Parts of the document a control unit is told of."""
_OF_UNIT = {"installer": "the installer's code", "account": "the account number", "key": "the key of the path"}
HOLE = re.compile(r"\{([a-z]+)\}")
YES, NO = "yes", "no"
SELF = "self"
"""What stands for the unit itself in what a setting holds."""


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
    """Return the pieces of equipment whose sheet ties settings to the programme, in the order in which they are keyed.

    What answers by an address comes before what looks for it there, unless the sheet says otherwise.
    """
    found = [name for name in job.equipment if any(setting.of for setting in job.sheet_of(name).settings.values())]
    return sorted(found, key=lambda name: _turn(job.sheet_of(name)))


def _turn(sheet: EquipmentSheet) -> int:
    said = sheet.keying.turn if sheet.keying is not None else None
    return {"first": 0, "last": 3}[said] if said else 1 if sheet.addressed else 2


def spots_of(job: Job, unit: str, *, every_row: bool = False) -> list[Spot]:
    """Return every place at a unit where something of the programme is kept, in the order of its sheet.

    With ``every_row`` also those of areas and zones the document does not have, as far as the unit has a place for them.
    A setting whose ``of`` names nothing of the document has none; :mod:`loopwright.keying.check` says so.
    """
    found: list[Spot] = []
    sheet = job.sheet_of(unit)
    for name, setting in sheet.settings.items():
        form = form_of(job, setting)
        if form is None or not names_its_rows(setting):
            continue
        for rows in rows_of(job, unit, setting, shape_is_row(setting.of), every_row=every_row):
            found.append(_spot(job, unit, name, setting, form, rows, len(found)))
    return found


def _spot(job: Job, unit: str, name: str, setting: Setting, form: Form, rows: tuple[Row, ...], order: int) -> Spot:
    path = path_of(setting, rows, unit)
    address = filled(setting, rows)
    wanted: Value | None
    if any(row.new for row in rows) and not shape_is_row(setting.of):
        wanted, words = None, f"{label_at(path)} of {rows[-1].words}, not in the document"
    elif setting.of.endswith("/*") and form.kind is Kind.CHOICE and shape_is_row(setting.of):
        wanted = NO if rows[-1].new else YES
        words = f"{rows[-1].words} not used" if rows[-1].new else f"{row_words(job, path)} in use"
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
    return {row.name: str(row.number) for row in named_rows(job, part, "")}


def _plain(shape: Shape) -> Mapping[str, str]:
    if isinstance(shape, WordShape):
        return {str(word): str(word) for word in shape.words}
    return {YES: YES, NO: NO} if isinstance(shape, BoolShape | RecordShape) else {}


def path_of(setting: Setting, rows: tuple[Row, ...], unit: str) -> str:
    """Return the place in the document, the rows' names put in for the stars and the unit's own for ``self``."""
    names = iter(rows)
    parts = [next(names).name if part == "*" else part for part in setting.of.split("/")]
    return "/".join([*parts[:1], unit, *parts[2:]] if is_own(setting.of) else parts)


def filled(setting: Setting, rows: tuple[Row, ...]) -> str:
    """Return the address with the rows' numbers put in."""
    numbers = {NAMES[part]: str(row.number) for part, row in zip(star_parts(setting), rows, strict=True)}
    return HOLE.sub(lambda hole: numbers.get(hole[1], hole[0]), " ".join(setting.address.split()))


def is_own(of: str) -> bool:
    """Return whether a setting is the unit's own row: ``equipment/self/address``."""
    return of.startswith(f"equipment/{SELF}/")


def wanted_of(job: Job, path: str, form: Form) -> Value | None:
    """Return what the programme wants; None where it says nothing. A code is wanted whatever it is, and so is the time."""
    if form.kind in (Kind.SECRET, Kind.CLOCK):
        user = job.users.get(path.rpartition("/")[2]) if path.startswith(CODES) else None
        # Who may do nothing in any area needs no code of a user.
        return None if user is not None and user.areas and set(user.areas.values()) == {"none"} else ""
    return value_of(job, path, form) if path in job.given else None


def value_of(job: Job, path: str, form: Form) -> Value | None:
    """Return what holds at a place of the document, said or by default, as a unit takes it; None where nothing does."""
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
