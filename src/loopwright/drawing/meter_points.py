"""A detection circuit as a wiring drawing: terminals, cores, contacts, resistors in their places, and what a meter shows at the terminals.

Symbols are the plain ones of schematics at large: a resistor is a rectangle, a contact two dots and a blade.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from loopwright.appraisal.appraise import Appraisal
from loopwright.circuits.forecast import CircuitForecast
from loopwright.drawing.circuit_bands import circuit_of
from loopwright.drawing.ledger import run_words
from loopwright.drawing.pen import HAIR, SMALL_SIZE, THIN, Sheet, fitted
from loopwright.job.document import Circuit, EndPlace, Hop, Job
from loopwright.job.quantity import show_quantity
from loopwright.job.sheet import ContactSheet, RestPosition, Topology
from loopwright.netlist.element import Resistance
from loopwright.power.forecast import label_of

_OUT, _BACK, _LINE_HEIGHT = 58.0, 114.0, 160.0
_CONTACT, _SHUNT, _CABLE, _STUB = 76.0, 56.0, 150.0, 56.0

Draw = Callable[[Sheet, float, float], None]


@dataclass(frozen=True, kw_only=True, slots=True)
class _Block:
    """One stretch of the pair: how wide it is, and how to draw it from a left edge and a top."""

    width: float
    draw: Draw


def meter_points(appraisal: Appraisal, circuit_id: str, *, narrow: bool = False, width: float | None = None, bare: bool = False) -> str:
    """Return a circuit's wiring drawing as SVG, on a sheet as wide as is asked for; ``bare`` without a heading and the reading at rest.

    Raises KeyError when there is no such circuit."""
    item, job = circuit_of(appraisal, circuit_id), appraisal.job
    circuit = job.circuits[circuit_id]
    width = width or (390.0 if narrow else 960.0)
    lines = _lines(_blocks(job, item, circuit, narrow=narrow), width - 76)
    title = f"Circuit {circuit_id}: where its parts stand"
    above, below = (0, 0) if bare else (30, 28)
    height = above + _LINE_HEIGHT * len(lines) + below
    sheet = Sheet(width=width, height=height, title=title, about=wiring_words(job, circuit_id), name="meter-points")
    for number, blocks in enumerate(lines):
        x, top = 10.0, above + _LINE_HEIGHT * number
        if number:
            _cores(sheet, x, x + _STUB, top)
            sheet.text(x, top + (_OUT + _BACK) / 2 + 3, "from above", look="lw-soft", size=9)
            x += _STUB
        for block in blocks:
            block.draw(sheet, x, top)
            x += block.width
        if number + 1 < len(lines):
            sheet.text(x + 6, top + (_OUT + _BACK) / 2 + 3, "on, below", look="lw-soft", size=9)
    if bare:
        return sheet.svg()
    sheet.text(4, 15, fitted(title, width - 8), bold=True)
    rest = item.rest
    ohm = "open" if math.isinf(rest.field_ohm) else f"{rest.field_ohm:.0f} Ω"
    expected = f"At rest: {ohm} with both wires out; {rest.volts_v:.2f} V across the terminals in place."
    sheet.text(4, height - 10, expected, size=SMALL_SIZE)
    return sheet.svg()


def wiring_words(job: Job, circuit_id: str) -> str:
    """Return the drawing in sentences, in order from the input, for whoever cannot see it."""
    circuit = job.circuits[circuit_id]
    told = [f"from input {circuit.input or '(not landed)'}"]
    for hop in circuit.path:
        told.append(f"run {run_words(job, hop.cable)}")
        if hop.device is not None:
            told.append(f"{label_of(job, hop.device)} with contacts {', '.join(hop.contacts) or 'none'}")
    end = circuit.resistors.end_ohm
    told.append(f"end resistor {show_quantity(end, 'Ω')} {circuit.end_at}" if end is not None else "no end resistor")
    return "; ".join(told) + "."


def _lines(blocks: list[_Block], width: float) -> list[list[_Block]]:
    """Return the blocks in lines no wider than the sheet, at least one block a line."""
    lines: list[list[_Block]] = [[]]
    taken = 0.0
    for block in blocks:
        if lines[-1] and taken + block.width > width:
            lines.append([])
            taken = _STUB
        lines[-1].append(block)
        taken += block.width
    return lines


def _blocks(job: Job, item: CircuitForecast, circuit: Circuit, *, narrow: bool) -> list[_Block]:
    fitted_ohm = {e.name: e.ohm for e in item.network.netlist.elements if isinstance(e, Resistance)}
    at_unit = circuit.end_at is EndPlace.CONTROL_UNIT and circuit.resistors.end_ohm is not None
    blocks = [_terminals(circuit.input)]
    if at_unit:
        blocks.append(_series_resistor(circuit.resistors.end_ohm or 0.0))
    for number, hop in enumerate(circuit.path):
        blocks.append(_cable(job, hop, narrow=narrow))
        if hop.device is not None:
            across = {word: fitted_ohm.get(f"{item.circuit}.{number}.{word}-resistor") for word in hop.contacts}
            blocks.append(_device(job, hop, across))
    fitted_end = circuit.resistors.end_ohm is not None and not at_unit and circuit.topology is not Topology.NONE
    blocks.append(_end(circuit.resistors.end_ohm if fitted_end else None))
    return blocks


def _cores(sheet: Sheet, x0: float, x1: float, top: float) -> None:
    for y in (_OUT, _BACK):
        sheet.line(((x0, top + y), (x1, top + y)))


def _resistor(sheet: Sheet, x: float, y: float, ohm: float, *, upright: bool = False) -> None:
    """Draw a resistor about a middle point, its value beside it."""
    across, along = 10.0, 26.0
    words = show_quantity(ohm, "Ω")
    if upright:
        sheet.box(x - across / 2, y - along / 2, across, along)
        sheet.text(x + 10, y + 4, words, size=SMALL_SIZE)
    else:
        sheet.box(x - along / 2, y - across / 2, along, across)
        sheet.text(x, y - 9, words, size=SMALL_SIZE, anchor="middle")


def _terminals(landed: str | None) -> _Block:
    def draw(sheet: Sheet, x: float, top: float) -> None:
        sheet.text(x - 6, top + 32, fitted(f"input {landed}" if landed else "not landed", 100, SMALL_SIZE), look="lw-soft", size=SMALL_SIZE)
        for y, word in ((_OUT, "in"), (_BACK, "0 V")):
            sheet.dot(x + 34, top + y, 4)
            sheet.text(x + 24, top + y + 4, word, size=SMALL_SIZE, anchor="end")
            sheet.line(((x + 38, top + y), (x + 64, top + y)))
        sheet.line(((x + 34, top + _OUT + 8), (x + 34, top + _BACK - 8)), look="lw-soft", width=HAIR, dash="2 3")
        sheet.text(x + 39, top + (_OUT + _BACK) / 2 + 4, "meter", look="lw-soft", size=9)

    return _Block(width=64, draw=draw)


def _series_resistor(ohm: float) -> _Block:
    def draw(sheet: Sheet, x: float, top: float) -> None:
        sheet.line(((x, top + _OUT), (x + 17, top + _OUT)))
        _resistor(sheet, x + 30, top + _OUT, ohm)
        sheet.line(((x + 43, top + _OUT), (x + 60, top + _OUT)))
        sheet.line(((x, top + _BACK), (x + 60, top + _BACK)))

    return _Block(width=60, draw=draw)


def _cable(job: Job, hop: Hop, *, narrow: bool) -> _Block:
    width = 110.0 if narrow else _CABLE
    name, _, rest = run_words(job, hop.cable).partition(" · ")

    def draw(sheet: Sheet, x: float, top: float) -> None:
        _cores(sheet, x, x + width, top)
        middle = x + width / 2
        sheet.line(((middle - 6, top + _BACK + 6), (middle + 6, top + _OUT - 6)), look="lw-soft", width=HAIR)
        sheet.text(middle, top + _BACK + 18, fitted(name, width - 8, SMALL_SIZE), size=SMALL_SIZE, anchor="middle")
        sheet.text(middle, top + _BACK + 31, fitted(rest, width + 10, 9), look="lw-soft", size=9, anchor="middle")
        if hop.device is None:
            for y in (_OUT, _BACK):
                sheet.dot(x + width, top + y, 2.2, filled=True)

    return _Block(width=width, draw=draw)


def _device(job: Job, hop: Hop, across: dict[str, float | None]) -> _Block:
    assert hop.device is not None
    label = label_of(job, hop.device)
    sheets = job.sheet_of(hop.device).contacts
    contacts = [(word, sheets.get(word, ContactSheet())) for word in hop.contacts]
    width = 16 + sum(_SHUNT if each.rest is RestPosition.OPEN else _CONTACT for _, each in contacts)
    width = max(width, 90.0)

    def draw(sheet: Sheet, x: float, top: float) -> None:
        sheet.box(x, top + 14, width, _BACK + 22 - 14, look="lw-soft", line=HAIR, dash="4 3")
        sheet.text(x + width / 2, top + 9, fitted(label, width + 40, SMALL_SIZE), size=SMALL_SIZE, anchor="middle")
        sheet.line(((x, top + _BACK), (x + width, top + _BACK)))
        at = x + 8
        sheet.line(((x, top + _OUT), (at, top + _OUT)))
        for word, contact in contacts:
            at = _contact(sheet, (at, top), word, contact, across.get(word))
        sheet.line(((at, top + _OUT), (x + width, top + _OUT)))

    return _Block(width=width, draw=draw)


def _contact(sheet: Sheet, at: tuple[float, float], word: str, contact: ContactSheet, across: float | None) -> float:
    """Draw one contact at rest, with the resistor across it when there is one, and return where the core goes on."""
    x, top = at
    if contact.rest is RestPosition.OPEN:
        middle = x + _SHUNT / 2
        sheet.line(((x, top + _OUT), (x + _SHUNT, top + _OUT)))
        sheet.line(((middle, top + _OUT), (middle, top + 76)))
        sheet.line(((middle, top + _BACK), (middle, top + 98)))
        sheet.line(((middle, top + 98), (middle - 10, top + 78)), width=1.3)
        sheet.text(middle + 6, top + 90, word, look="lw-soft", size=9)
        return x + _SHUNT
    left, right, y = x + 22, x + 54, top + _OUT
    sheet.line(((x, y), (left, y)))
    sheet.line(((right, y), (x + _CONTACT, y)))
    sheet.dot(left, y, 2)
    sheet.dot(right, y, 2)
    sheet.line(((left, y - 2.5), (right + 3, y - 2.5)), width=1.3)
    sheet.text(x + _CONTACT / 2, y + 17, word, look="lw-soft", size=9, anchor="middle")
    if across is not None:
        over, sides = y - 22, (x + 10, x + _CONTACT - 10)
        for side in sides:
            sheet.line(((side, y), (side, over)))
            sheet.dot(side, y, 1.6, filled=True)
        sheet.line(((sides[0], over), (x + _CONTACT / 2 - 13, over)))
        sheet.line(((x + _CONTACT / 2 + 13, over), (sides[1], over)))
        _resistor(sheet, x + _CONTACT / 2, over, across)
    return x + _CONTACT


def _end(ohm: float | None) -> _Block:
    def draw(sheet: Sheet, x: float, top: float) -> None:
        middle, half = top + (_OUT + _BACK) / 2, (_BACK - _OUT) / 2
        right = x + 18
        _cores(sheet, x, right, top)
        if ohm is None:
            sheet.line(((right, middle - half), (right, middle + half)), width=THIN)
            sheet.text(right + 6, middle + 4, "joined", look="lw-soft", size=9)
            return
        sheet.line(((right, middle - half), (right, middle - 13)))
        sheet.line(((right, middle + 13), (right, middle + half)))
        _resistor(sheet, right, middle, ohm, upright=True)

    return _Block(width=70, draw=draw)
