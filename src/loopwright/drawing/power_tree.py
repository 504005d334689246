"""The power tree as a one-line diagram, drawn like an indented ledger: what hangs on what, by which run, with what volts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from loopwright.appraisal.appraise import Appraisal
from loopwright.drawing.ledger import Mark, Row, ledger
from loopwright.drawing.pen import FIRM, FONT_SIZE, HAIR, LETTER, SMALL_SIZE, THIN, Sheet, fitted
from loopwright.drawing.state import State
from loopwright.power.forecast import scenario_words

LATEST = "alarm/battery-end"
"""The scenario in which volts are least: in alarm, on battery, at the cut-out."""


@dataclass(frozen=True, kw_only=True, slots=True)
class _Plan:
    """Where the columns of a ledger stand [drawing units]; a narrow one has two lines a row."""

    width: float
    row: float
    top: float
    indent: float
    run: float
    run_width: float
    amps: float
    volts: float
    least: float
    words: float
    narrow: bool = False


_WIDE = _Plan(width=960, row=24, top=58, indent=20, run=400, run_width=196, amps=662, volts=736, least=806, words=824)
_PAPER = _Plan(width=780, row=22, top=58, indent=18, run=306, run_width=186, amps=540, volts=602, least=660, words=674)
_NARROW = _Plan(width=390, row=44, top=84, indent=13, run=0, run_width=190, amps=0, volts=300, least=0, words=386, narrow=True)


def power_tree(appraisal: Appraisal, scenario: str = LATEST, *, narrow: bool = False) -> str:
    """Return the power tree in one scenario as SVG; ``narrow`` for a phone. Raises ValueError when there is no such scenario."""
    rows = ledger(appraisal, scenario)
    return _drawn(appraisal, scenario, rows, (0, len(rows)), _NARROW if narrow else _WIDE)


def power_tree_sheets(appraisal: Appraisal, scenario: str = LATEST, *, rows_a_sheet: int = 40) -> tuple[str, ...]:
    """Return the power tree cut into sheets for paper, each with its column heads. Raises ValueError when there is no such scenario."""
    rows = ledger(appraisal, scenario)
    starts = range(0, max(len(rows), 1), rows_a_sheet)
    return tuple(_drawn(appraisal, scenario, rows, (at, min(at + rows_a_sheet, len(rows))), _PAPER) for at in starts)


def tree_words(appraisal: Appraisal, scenario: str = LATEST) -> str:
    """Return the power tree in one sentence or two, for whoever cannot see it."""
    return _about(ledger(appraisal, scenario))


def _about(rows: Sequence[Row]) -> str:
    told = [row for row in rows if row.mark is Mark.DEVICE and row.standing is not None]
    parts = [f"{len(told)} supply inputs"]
    for state, words in (
        (State.SHORT, "below their minimum"),
        (State.OVER, "above their maximum"),
        (State.CLOSE, "within half a volt of it"),
        (State.OFF, "off"),
        (State.UNFED, "not fed"),
    ):
        names = [f"{row.name} ({row.standing.words})" for row in told if row.standing is not None and row.standing.state is state]
        if names:
            shown = ", ".join(names[:8]) + (f" and {len(names) - 8} more" if len(names) > 8 else "")
            parts.append(f"{len(names)} {words}: {shown}")
    return "; ".join(parts) + "."


def _drawn(appraisal: Appraisal, scenario: str, rows: tuple[Row, ...], span: tuple[int, int], plan: _Plan) -> str:
    first, last = span
    height = plan.top + plan.row * max(last - first, 1) + 14
    words = scenario_words(scenario)
    sheet = Sheet(width=plan.width, height=height, title=f"Power tree, {words}", about=_about(rows), name="power-tree")
    _head(sheet, plan, words, first)
    if not rows:
        sheet.text(4, plan.top + 16, "No supply is entered yet.", look="lw-soft")
    for position in range(first, last):
        _row(sheet, plan, rows, position, plan.top + plan.row * (position - first))
    _stems(sheet, plan, rows, span)
    return sheet.svg()


def _head(sheet: Sheet, plan: _Plan, words: str, first: int) -> None:
    lead = f"{words[0].upper()}{words[1:]}" + (", continued" if first else "")
    sheet.text(4, 15, lead, bold=True)
    if plan.narrow:
        _legend(sheet, (4, 36), step=190, across=2)
        sheet.text(plan.volts, plan.top - 8, "V", look="lw-soft lw-num", size=SMALL_SIZE, anchor="end")
        sheet.line(((0, plan.top - 3), (plan.width, plan.top - 3)), look="lw-axis", width=HAIR)
        return
    _legend(sheet, (plan.run - 40, 15), step=118, across=5)
    y = plan.top - 9
    sheet.text(plan.run, y, "run, one way", look="lw-soft", size=SMALL_SIZE)
    for x, head in ((plan.amps, "A"), (plan.volts, "V"), (plan.least, "least V")):
        sheet.text(x, y, head, look="lw-soft", size=SMALL_SIZE, anchor="end")
    sheet.line(((0, plan.top - 3), (plan.width, plan.top - 3)), look="lw-axis", width=HAIR)


def _legend(sheet: Sheet, at: tuple[float, float], *, step: float, across: int) -> None:
    rows = (("sound", "", False, "lw-line"), ("under 0.5 V in hand", "5 3", False, "lw-line"), ("short", "", True, "lw-short"),
            ("off", "1 3", False, "lw-soft"), ("not fed", "1 6", False, "lw-soft"))  # fmt: skip
    x0, y = at
    x = x0
    for number, (words, dash, double, look) in enumerate(rows):
        if number and number % across == 0:
            x, y = x0, y + 16
        _stroke(sheet, (x, y - 4), (x + 22, y - 4), dash=dash, double=double, look=look)
        sheet.text(x + 27, y, words, look="lw-soft", size=SMALL_SIZE)
        x += step if across < 5 else 44 + len(words) * 6.2


def _stroke(sheet: Sheet, start: tuple[float, float], end: tuple[float, float], *, dash: str, double: bool, look: str) -> None:
    """Draw a run's level line in its state: a double line is short."""
    if not double:
        sheet.line((start, end), look=look, dash=dash)
        return
    for shift in (-1.5, 1.5):
        sheet.line(((start[0], start[1] + shift), (end[0], end[1] + shift)), look=look, width=THIN)


def _x(plan: _Plan, depth: int) -> float:
    # Deep trees close up, so that the names keep a place: past eight steps each further one is a third as wide.
    return 10 + plan.indent * (min(depth, 8) + max(depth - 8, 0) / 3)


def _row(sheet: Sheet, plan: _Plan, rows: tuple[Row, ...], position: int, y: float) -> None:
    row = rows[position]
    base = y + 16
    x = _x(plan, row.depth)
    if row.mark is Mark.HEADING:
        sheet.text(4, base, row.name, look="lw-soft")
        return
    standing = row.standing
    hangs = row.depth and not (rows[position - 1].mark is Mark.HEADING or row.mark is Mark.DEVICE and not row.run)
    if hangs:
        _stroke(
            sheet,
            (_x(plan, row.depth - 1), base - 4),
            (x - 5, base - 4),
            dash=standing.dash if standing else "",
            double=standing is not None and standing.state in (State.SHORT, State.OVER) and row.mark is Mark.DEVICE,
            look=standing.look if standing and standing.look != "lw-ink" else "lw-line",
        )
    sheet.open_link(row.path, f"{row.name}: {standing.words}" if standing else row.name)
    sheet.hit(x - 8, y, plan.width - x + 8, plan.row if plan.narrow else plan.row - 2)
    _mark(sheet, row, x, base - 4)
    room = (plan.volts - 52 if plan.narrow else plan.run) - x - 18
    name = fitted(row.name, room)
    sheet.text(x + 11, base, name, bold=row.mark is Mark.SUPPLY)
    _leader(sheet, plan, row, x + 11 + len(name) * FONT_SIZE * LETTER + 12, base)
    _figures(sheet, plan, row, base)
    sheet.close_link()
    _run(sheet, plan, row, x, base)


def _leader(sheet: Sheet, plan: _Plan, row: Row, start: float, base: float) -> None:
    """Lead the eye from a name to its figures."""
    if plan.narrow or not row.run or start > plan.run - 16:
        return
    sheet.line(((start, base - 3), (plan.run - 8, base - 3)), look="lw-dots", width=0.5, dash="1 4")


def _figures(sheet: Sheet, plan: _Plan, row: Row, base: float) -> None:
    standing = row.standing
    look = standing.look if standing else "lw-ink"
    if row.volts_v is not None:
        sheet.text(plan.volts, base, f"{row.volts_v:.2f}", look=f"{look} lw-num", anchor="end")
        if standing and standing.state in (State.SHORT, State.OVER):
            _underscore(sheet, plan.volts, base, look)
    if plan.narrow:
        if standing:
            sheet.text(plan.words, base, standing.words, look=look, anchor="end", size=SMALL_SIZE)
        return
    if row.amps_a is not None:
        sheet.text(plan.amps, base, f"{row.amps_a:.3f}", look="lw-soft lw-num", anchor="end")
    if row.least_v is not None:
        sheet.text(plan.least, base, f"{row.least_v:.2f}", look="lw-soft lw-num", anchor="end")
    if standing:
        sheet.text(plan.words, base, standing.words, look=look)


def _underscore(sheet: Sheet, right: float, base: float, look: str) -> None:
    """Rule a figure off twice, as a checker does with what does not come out."""
    for drop in (3.0, 5.2):
        sheet.line(((right - 34, base + drop), (right, base + drop)), look=look, width=0.8)


def _run(sheet: Sheet, plan: _Plan, row: Row, x: float, base: float) -> None:
    if not row.run:
        return
    at, y, size = (x + 11, base + 16, SMALL_SIZE) if plan.narrow else (plan.run, base, FONT_SIZE)
    words = row.run
    if plan.narrow and row.amps_a is not None:
        words = f"{row.run} · {row.amps_a:.3f} A"
    words = fitted(words, plan.width - x - 20 if plan.narrow else plan.run_width, size)
    if not row.run_path:
        sheet.text(at, y, words, look="lw-soft", size=size)
        return
    sheet.open_link(row.run_path, f"run {row.run}")
    sheet.text(at, y, words, look="lw-soft lw-run", size=size)
    sheet.close_link()


def _mark(sheet: Sheet, row: Row, x: float, y: float) -> None:
    """Draw what stands at the end of the line: plain drawing-office marks."""
    look = row.standing.look if row.standing and row.standing.look != "lw-ink" else "lw-line"
    match row.mark:
        case Mark.SUPPLY:
            sheet.box(x - 6, y - 6, 12, 12, line=FIRM)
        case Mark.BATTERY:
            sheet.line(((x - 2, y - 6), (x - 2, y + 6)), width=THIN)
            sheet.line(((x + 2, y - 3), (x + 2, y + 3)), width=2.2)
            sheet.line(((x - 5, y), (x - 2, y)))
        case Mark.OUTPUT:
            sheet.dot(x, y, 3.4, look=look)
        case Mark.JOINT:
            sheet.dot(x, y, 2.2, filled=True)
        case _:
            sheet.box(x - 4.5, y - 4.5, 9, 9, look=look, dash="1.5 1.5" if row.standing and row.standing.state is State.UNFED else "")


def _stems(sheet: Sheet, plan: _Plan, rows: tuple[Row, ...], span: tuple[int, int]) -> None:
    """Draw the upright lines from each row down to the last of what hangs on it; one cut by the sheet's edge runs to the edge."""
    first, last = span
    for position, row in enumerate(rows):
        hung = []
        for below in range(position + 1, len(rows)):
            if rows[below].depth <= row.depth:
                break
            if rows[below].depth == row.depth + 1 and row.mark is not Mark.HEADING:
                hung.append(below)
        if not hung or hung[-1] < first or position >= last:
            continue
        x = _x(plan, row.depth)
        start = plan.top + plan.row * (position - first) + 19 if position >= first else plan.top - 2
        end = plan.top + plan.row * (hung[-1] - first) + 12 if hung[-1] < last else plan.top + plan.row * (last - first) + 8
        sheet.line(((x, start), (x, end)), look="lw-line", width=HAIR)
