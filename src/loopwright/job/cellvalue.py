"""From what stands in a cell to what the document writes, and back: names for ids, units of the head, words of the trade."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from loopwright.job.columns import Match, some
from loopwright.job.document import Job, UnitSystem
from loopwright.job.edit import follow
from loopwright.job.list_plan import ListPlan
from loopwright.job.quantity import parse_gauge, parse_quantity
from loopwright.job.read import ID, NO, YES
from loopwright.job.reference import CALLED
from loopwright.job.shape import BoolShape, FieldShape, IdShape, ListShape, NumberShape, Shape, TerminalShape, WordShape
from loopwright.job.tree import LIST, NOT_TEXT, SCALAR, Node, shorten
from loopwright.job.unit import worth_of

Meant = str | tuple[str, ...]
_BARE = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
_DECIMAL_COMMA = re.compile(r"([+-]?\d+),(\d+)(\D.*|)", re.ASCII | re.DOTALL)
# A cell may be long and of blanks: none of these goes over a blank twice.
_TERMINAL = re.compile(r"([\w-]+)(?:\s*[./:]\s*|\s+)([\w-]+)", re.ASCII)
_BETWEEN = re.compile(r"[,;/\n]")
_US = {"m": "ft", "°C": "°F"}
_SAME = 1e-9
# Common practice, no source: how people write the wiring of a circuit, and yes and no.
_WORDS = {
    "eol": "single", "seol": "single", "single eol": "single", "one resistor": "single",
    "deol": "double", "double eol": "double", "two resistors": "double",
    "teol": "triple", "triple eol": "triple", "three resistors": "triple",
    "nc": "none", "n/c": "none", "no resistor": "none", "no resistors": "none",
    "panel": "control-unit", "last": "last-device", "device": "last-device",
}  # fmt: skip
RIGHTS = ("set", "unset", "both", "none")
# Likewise what a user may do in an area.
_MAY = {
    "yes": "both", "y": "both", "x": "both", "✓": "both", "set and unset": "both", "set/unset": "both", "arm and disarm": "both",
    "no": "none", "n": "none", "-": "none", "arm": "set", "set only": "set", "disarm": "unset", "unset only": "unset",
}  # fmt: skip
_ASSENT = {"y": "yes", "x": "yes", "1": "yes", "✓": "yes", "n": "no", "0": "no"}


@dataclass(frozen=True, slots=True)
class Names:
    """What a job calls its things: for each kind of thing, the ids a folded name may mean."""

    ids: Mapping[str, Mapping[str, frozenset[str]]]
    input_owners: tuple[str, ...]

    def meant(self, to: str, text: str) -> str:
        """Return the id meant by a text: an id, or the only thing called so; the text itself when nothing is. Raises ValueError."""
        known = self.ids.get(to, {})
        found = known.get(text.casefold(), frozenset())
        if text in found or not found:
            return text
        if len(found) > 1:
            raise ValueError(f"'{shorten(text)}' may be {' or '.join(sorted(found))}: write the id.")
        return next(iter(found))


def names_of(job: Job) -> Names:
    """Return what the things of a job may be called by in a list."""
    rooms = [(name, (name, room.name)) for storey in job.storeys.values() for name, room in storey.rooms.items()]
    equipment = [(name, (name, each.label)) for name, each in job.equipment.items()]
    sheets = job.sheets
    ids = {
        "rooms": _called(rooms),
        "equipment": _called(equipment),
        "places": _called([*equipment, *((name, (name,)) for name in job.joints)]),
        "storeys": _called((name, (name, each.name)) for name, each in job.storeys.items()),
        "areas": _called((name, (name, each.name)) for name, each in job.areas.items()),
        "circuits": _called((name, (name,)) for name in job.circuits),
        "sheets/equipment": _called((name, (name, each.model)) for name, each in sheets.equipment.items()),
        "sheets/cables": _called((name, (name, each.model, _size(each.gauge.area_mm2))) for name, each in sheets.cables.items()),
    }
    owners = tuple(name for name in job.equipment if job.sheet_of(name).inputs is not None)
    return Names(ids, owners)


def _called(things: Iterable[tuple[str, tuple[str, ...]]]) -> dict[str, frozenset[str]]:
    """Return the ids by folded name; an id goes before another thing's name."""
    every = list(things)
    found: dict[str, frozenset[str]] = {}
    for name, called in every:
        for text in filter(None, called):
            key = " ".join(text.split()).casefold()
            found[key] = found.get(key, frozenset()) | {name}
    return found


def _size(area_mm2: float) -> str:
    return f"size {area_mm2:.2f}"


def meant(shape: Shape, text: str, match: Match, names: Names) -> Meant:
    """Return what a cell says, as the document writes it; what is not understood stays, for the reader to refuse. Raises ValueError."""
    stray = NOT_TEXT.search(text)
    if stray:
        raise ValueError(f"character U+{ord(stray.group()):04X} cannot stand in a text.")
    match shape:
        case NumberShape():
            return f"{text} {match.unit}" if match.unit and _BARE.fullmatch(text) and _turns(shape, match.unit) else text
        case BoolShape():
            return _ASSENT.get(text.casefold(), text.casefold())
        case WordShape():
            return _word(shape, text)
        case TerminalShape():
            return _terminal(shape, text, names)
        case IdShape(among) if among is not None:
            return _reference(among.to, text, names)
        case ListShape(item):
            entries = [entry for each in _BETWEEN.split(text) if (entry := each.strip())]
            return tuple(str(meant(item, entry, match, names)) for entry in entries)
        case _:
            return text


def _turns(shape: NumberShape, unit: str) -> bool:
    """Return whether a number in this unit is not the same number in the unit kept."""
    return worth_of(unit, shape.quantity.unit) != (1.0, 0.0)


def _word(shape: WordShape, text: str) -> str:
    plain = " ".join(text.casefold().split())
    dashed = plain.replace(" ", "-")
    if dashed in shape.words:
        return dashed
    word = _MAY.get(plain) if shape.words == RIGHTS else _WORDS.get(plain.replace("-", " "))
    return word if word in shape.words else text


def _terminal(shape: TerminalShape, text: str, names: Names) -> str:
    """Return a terminal written with a dot: a bare input number is that of the only equipment with inputs."""
    if text.isdecimal() and shape.among == "inputs" and len(names.input_owners) == 1:
        return f"{names.input_owners[0]}.{text}"
    parts = _TERMINAL.fullmatch(text)
    return f"{names.meant('equipment', parts[1])}.{parts[2]}" if parts else text


def _reference(to: str, text: str, names: Names) -> str:
    plain = " ".join(text.split())
    found = names.meant(to, plain)
    if to == "sheets/cables" and plain.casefold() not in names.ids[to]:
        found = _by_size(plain, names) or plain
    if found == plain and not ID.fullmatch(plain):
        known = sorted({name for ids in names.ids.get(to, {}).values() for name in ids})
        raise ValueError(f"there is no {CALLED[to]} called {shorten(plain)}. Accepted: {some(known)}.")
    return found


def _by_size(plain: str, names: Names) -> str:
    """Return the only cable sheet of a conductor size, or nothing when the text is no size. Raises ValueError when there are several."""
    try:
        key = _size(parse_gauge(plain).area_mm2)
    except ValueError:
        return ""
    found = sorted(names.ids["sheets/cables"].get(key, ()))
    if len(found) > 1:
        raise ValueError(f"cables of {plain} are {' and '.join(found)}: write which.")
    return found[0] if found else ""


def decimal_commas(texts: Iterable[str]) -> bool:
    """Return whether a column of numbers is written with decimal commas throughout, and cannot mean thousands.

    >>> decimal_commas(["3,5", "12", "4,25 m"]), decimal_commas(["1,200", "3,400"]), decimal_commas(["3,5", "4.5"])
    (True, False, False)
    """
    every = [text.strip() for text in texts]
    found = [comma for text in every if (comma := _DECIMAL_COMMA.fullmatch(text))]
    others = [text for text in every if not _DECIMAL_COMMA.fullmatch(text)]
    return any(len(comma[2]) != 3 for comma in found) and not any("." in text or "," in text for text in others) and not _dotted(found)


def _dotted(found: Iterable[re.Match[str]]) -> bool:
    return any("." in comma[3] or "," in comma[3] for comma in found)


def with_point(text: str) -> str:
    """Return a number with a decimal comma as one with a decimal point."""
    comma = _DECIMAL_COMMA.fullmatch(text.strip())
    return f"{comma[1]}.{comma[2]}{comma[3]}" if comma else text


def is_bare(text: str) -> bool:
    """Return whether a text is a number without a unit."""
    return bool(_BARE.fullmatch(text))


def at_path(node: Node, field: str) -> Node | None:
    """Return what stands at a field inside an entry, or None."""
    chain, missing = follow(node, field)
    return None if missing else chain[-1]


def said_by(node: Node | None) -> Meant | None:
    """Return what the document says in a place: a text, the texts of a list, or None where nothing stands."""
    if node is None or node.null:
        return None
    if node.kind == LIST:
        return tuple(str(child.value) for child in node.value)
    return str(node.value) if node.kind == SCALAR else None


def same(field: FieldShape, old: Meant | None, new: Meant) -> bool:
    """Return whether a cell says what the document says already, be it by silence."""
    shape = field.shape
    if isinstance(old, tuple) or isinstance(new, tuple):
        return new == (() if old is None else old)
    if isinstance(shape, NumberShape):
        return _same_number(shape.quantity.unit, field.default if old is None else old, new)
    if isinstance(shape, BoolShape):
        return new in YES | NO and (new in YES) == (bool(field.default) if old is None else old in YES)
    if old is None:
        return bool(new == str(field.default)) and not field.required
    return _tidy(old) == _tidy(new)


def _same_number(unit: str, old: object, new: str) -> bool:
    try:
        kept = parse_quantity(old, unit) if isinstance(old, str) else old
        told = parse_quantity(new, unit)
    except ValueError:
        return old == new
    return isinstance(kept, float | int) and math.isclose(kept, told, rel_tol=_SAME, abs_tol=_SAME)


def _tidy(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n").strip()


def head_unit(shape: Shape, system: UnitSystem) -> str:
    """Return the unit a column of a list is written out in."""
    if not isinstance(shape, NumberShape):
        return ""
    unit = shape.quantity.unit
    return _US.get(unit, unit) if system is UnitSystem.US else unit


def shown(shape: Shape, said: Meant | None, unit: str) -> str:
    """Return what a cell shows of a field: numbers bare, in the unit of the head; entries of a list with commas between."""
    if said is None:
        return ""
    if isinstance(said, tuple):
        return ", ".join(said)
    if not isinstance(shape, NumberShape):
        return said
    factor, offset = (worth_of(unit, shape.quantity.unit) or (1.0, 0.0)) if unit else (1.0, 0.0)
    return f"{(parse_quantity(said, shape.quantity.unit) - offset) / factor:.12g}"


def key_of(plan: ListPlan, said: Mapping[str, Meant | None]) -> tuple[str, ...] | None:
    """Return what tells an entry apart where the list has no ids, or None when the entry does not say it."""
    texts = [said.get(field) for field in plan.known_by]
    return tuple(_tidy(str(text)).casefold() for text in texts) if all(texts) else None
