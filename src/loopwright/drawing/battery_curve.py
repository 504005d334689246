"""A battery's discharge with the system set: terminal volts against hours, the two ends, the hours asked for, the alarm at the end."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from loopwright.appraisal.appraise import Appraisal
from loopwright.circuits.half_space import Array
from loopwright.drawing.pen import FIRM, HAIR, SMALL_SIZE, THIN, Sheet, fitted, wrapped
from loopwright.job.document import Job
from loopwright.power.discharge import BATTERY, Trace
from loopwright.power.forecast import label_of
from loopwright.power.standby import StandbyForecast

FIRST_SHORT, LETS_GO, ASKED, LONGEST = "first short", "lets go", "asked for", "longest"
"""The marks of the curve; on the drawing they are numbered from 1 as they come."""
_MOST_POINTS = 240
_KEY_LINE = 15.5


@dataclass(frozen=True, kw_only=True, slots=True)
class _Frame:
    """The ruled field of a curve: its edges [drawing units] and what they stand for [h, V]."""

    left: float
    right: float
    top: float
    bottom: float
    hours: float
    low_v: float
    high_v: float

    def at(self, hours: float, volts: float) -> tuple[float, float]:
        """Return where a point stands."""
        share = (min(max(volts, self.low_v), self.high_v) - self.low_v) / (self.high_v - self.low_v)
        return (self.left + (self.right - self.left) * min(hours / self.hours, 1.0), self.bottom - (self.bottom - self.top) * share)


def battery_curve(appraisal: Appraisal, supply_id: str, *, narrow: bool = False) -> str:
    """Return a supply's discharge curve as SVG. Raises KeyError when no supply of that name has a battery."""
    item = standby_of(appraisal, supply_id)
    supply = appraisal.job.sheet_of(supply_id).supply
    assert supply is not None
    width = 390.0 if narrow else 760.0
    lines = _end_lines(appraisal.job, item)
    numbers = {mark: str(number) for number, (mark, _) in enumerate(lines, start=1)}
    key = [(numbers[mark], wrapped(words, width - 28, SMALL_SIZE)) for mark, words in lines]
    field_bottom = 236.0
    height = field_bottom + 30 + _KEY_LINE * sum(len(lines) for _, lines in key)
    title = f"{label_of(appraisal.job, supply_id)}: battery volts from the loss of mains"
    sheet = Sheet(width=width, height=height, title=title, about=curve_words(appraisal.job, item), name="battery-curve")
    sheet.text(4, 15, fitted(title, width - 8), bold=True)
    frame = _frame(item, supply.cut_out_v, (40.0, width - 14, 36.0, field_bottom))
    _grid(sheet, frame)
    _cut_out(sheet, frame, supply.cut_out_v)
    _trace(sheet, frame, item.set_trace, dash="")
    _alarm(sheet, frame, item, numbers)
    _asked(sheet, frame, item)
    _ends(sheet, frame, item, numbers)
    _key(sheet, key, field_bottom + 34)
    return sheet.svg()


def standby_of(appraisal: Appraisal, supply_id: str) -> StandbyForecast:
    """Return the standby forecast of a supply. Raises KeyError when it has no battery."""
    for item in appraisal.standby:
        if item.supply == supply_id:
            return item
    raise KeyError(supply_id)


def device_words(job: Job, load: str) -> str:
    """Return who a watched supply input belongs to."""
    unit = load.split(".")[0]
    return label_of(job, unit) if unit in job.equipment else load


def _end_lines(job: Job, item: StandbyForecast) -> list[tuple[str, str]]:
    """Return the marks of the curve and their words, in the order of the legend."""
    out = []
    if item.to_first_short_h is not None and item.first_short is not None:
        out.append((FIRST_SHORT, f"{item.to_first_short_h:.1f} h set: {device_words(job, item.first_short)} is the first to fall short"))
    if item.to_cut_out_h is None:
        out.append((LETS_GO, "the battery outlasts a year"))
    else:
        out.append((LETS_GO, f"{item.to_cut_out_h:.1f} h set: the battery lets go"))
    need = item.requirement
    if need.standby_h > 0 or need.alarm_h > 0:
        asked = f"{need.standby_h:g} h set and {need.alarm_h * 60:.0f} min of alarm asked for"
        last = item.trace
        if last.hours_to_end is not None:
            asked += f": not met, the battery lets go after {last.hours_to_end:.1f} h"
        else:
            asked += f": ends at {float(last.terminal_v[-1]):.2f} V"
        out.append((ASKED, asked))
    by = "" if item.longest.limited_by == BATTERY else f"; after that {device_words(job, item.longest.limited_by)} falls short in the alarm"
    fits = f"{item.longest.hours:.1f} h set with the alarm still to come{by}" if item.longest.fits else "the alarm does not fit at all"
    out.append((LONGEST, f"at most {fits}" if item.longest.fits else fits))
    return out


def curve_words(job: Job, item: StandbyForecast) -> str:
    """Return the curve in sentences, for whoever cannot see it."""
    return "; ".join(words for _, words in _end_lines(job, item)) + "."


def _frame(item: StandbyForecast, cut_out_v: float, edges: tuple[float, float, float, float]) -> _Frame:
    left, right, top, bottom = edges
    need = item.requirement
    ends = [item.to_cut_out_h or 0.0, need.standby_h + need.alarm_h, float(item.trace.hours[-1])]
    # A battery that outlasts the hours asked for many times over is cut off at four times them: the story is at the left.
    most = max(ends)
    asked = need.standby_h + need.alarm_h
    if asked > 0 and most > 8 * asked:
        most = 8 * asked
    high = max(float(np.max(item.set_trace.terminal_v)), float(np.max(item.trace.terminal_v)), cut_out_v + 1)
    return _Frame(
        left=left, right=right, top=top, bottom=bottom, hours=max(most * 1.04, 0.1), low_v=math.floor(cut_out_v * 2 - 1) / 2,
        high_v=math.ceil(high * 2) / 2,
    )  # fmt: skip


def _grid(sheet: Sheet, frame: _Frame) -> None:
    sheet.line(((frame.left, frame.top), (frame.left, frame.bottom), (frame.right, frame.bottom)), look="lw-axis", width=HAIR)
    volts = math.ceil(frame.low_v * 2) / 2
    while volts <= frame.high_v + 1e-9:
        x, y = frame.at(0, volts)
        sheet.line(((x - 4, y), (x, y)), look="lw-axis", width=HAIR)
        if volts == int(volts):
            sheet.line(((x, y), (frame.right, y)), look="lw-axis", width=0.25)
        sheet.text(x - 7, y + 3.5, f"{volts:.1f}", look="lw-soft lw-num", size=SMALL_SIZE, anchor="end")
        volts += 0.5
    sheet.text(frame.left - 7, frame.top - 8, "V", look="lw-soft", size=SMALL_SIZE, anchor="end")
    step = _step(frame.hours)
    hours = 0.0
    while hours <= frame.hours:
        x, y = frame.at(hours, frame.low_v)
        sheet.line(((x, y), (x, y + 4)), look="lw-axis", width=HAIR)
        if x < frame.right - 44:
            sheet.text(x, y + 15, f"{hours:g}", look="lw-soft lw-num", size=SMALL_SIZE, anchor="middle")
        hours = round(hours + step, 6)
    sheet.text(frame.right, frame.bottom + 15, "hours", look="lw-soft", size=SMALL_SIZE, anchor="end")


def _step(hours: float) -> float:
    """Return hours between marks: six to twelve marks over the whole."""
    for step in (0.1, 0.25, 0.5, 1, 2, 4, 6, 12, 24, 48, 96, 240, 480):
        if hours / step <= 9:
            return step
    return 960


def _cut_out(sheet: Sheet, frame: _Frame, cut_out_v: float) -> None:
    left, y = frame.at(0, cut_out_v)
    sheet.line(((left, y), (frame.right, y)), look="lw-soft", width=THIN, dash="8 3 2 3")
    sheet.text(frame.left + 6, y + 13, f"cut-out {cut_out_v:.2f} V", look="lw-soft", size=SMALL_SIZE)


def _points(frame: _Frame, hours: Array, volts: Array) -> list[tuple[float, float]]:
    """Return a trace's points, thinned and cut at the edge of the field."""
    end = min(float(hours[-1]), frame.hours)
    pick = np.unique(np.concatenate((hours[hours <= end], np.linspace(float(hours[0]), end, 2))))
    if len(pick) > _MOST_POINTS:
        pick = pick[np.unique(np.linspace(0, len(pick) - 1, _MOST_POINTS).astype(int))]
    return [frame.at(float(h), float(np.interp(h, hours, volts))) for h in pick]


def _trace(sheet: Sheet, frame: _Frame, trace: Trace, *, dash: str) -> None:
    sheet.line(_points(frame, trace.hours, trace.terminal_v), look="lw-line", width=1.3, dash=dash)


def _alarm(sheet: Sheet, frame: _Frame, item: StandbyForecast, numbers: Mapping[str, str]) -> None:
    """Draw the alarm at the end of the hours asked for: the drop when it starts, its course, the return is not drawn."""
    in_alarm = [n for n, name in enumerate(item.trace.phase) if name == "alarm"]
    if not in_alarm:
        return
    before = in_alarm[0] - 1
    picks: Sequence[int] = ([before] if before >= 0 else []) + in_alarm
    points = [frame.at(float(item.trace.hours[n]), float(item.trace.terminal_v[n])) for n in picks]
    sheet.line(points, look="lw-line", width=FIRM, dash="4 2")
    if ASKED in numbers:
        _ball(sheet, numbers[ASKED], points[-1], below=True)


def _asked(sheet: Sheet, frame: _Frame, item: StandbyForecast) -> None:
    hours = item.requirement.standby_h
    if hours <= 0 or hours > frame.hours:
        return
    x, _ = frame.at(hours, frame.low_v)
    sheet.line(((x, frame.top), (x, frame.bottom)), look="lw-soft", width=HAIR, dash="2 3")
    side = "end" if x > frame.right - 110 else "start"
    sheet.text(x + (-5 if side == "end" else 5), frame.top + 9, f"asked for {hours:g} h", look="lw-soft", size=SMALL_SIZE, anchor=side)


def _ends(sheet: Sheet, frame: _Frame, item: StandbyForecast, numbers: Mapping[str, str]) -> None:
    trace = item.set_trace
    marks = [(FIRST_SHORT, item.to_first_short_h, "lw-short"), (LETS_GO, item.to_cut_out_h, "lw-ink")]
    for name, hours, look in marks:
        if hours is None or hours > frame.hours:
            continue
        point = frame.at(hours, float(np.interp(hours, trace.hours, trace.terminal_v)))
        sheet.dot(*point, 3, look=look, filled=name == FIRST_SHORT)
        _ball(sheet, numbers[name], (point[0] - (18 if name == FIRST_SHORT else 0), point[1] - 4), below=False)
    if item.longest.fits and item.longest.hours <= frame.hours:
        point = frame.at(item.longest.hours, float(np.interp(item.longest.hours, trace.hours, trace.terminal_v)))
        sheet.line(((point[0], point[1] - 7), (point[0], point[1] + 7)), look="lw-ink", width=THIN)
        _ball(sheet, numbers[LONGEST], (point[0] + 15, point[1] - 4), below=False)


def _ball(sheet: Sheet, name: str, at: tuple[float, float], *, below: bool) -> None:
    """Write a mark's number in a small ring beside it."""
    x, y = at[0] + (12 if below else 0), at[1] + (2 if below else -10)
    sheet.dot(x, y, 6.5, look="lw-soft")
    sheet.text(x, y + 3.2, name, size=9, anchor="middle")


def _key(sheet: Sheet, key: Sequence[tuple[str, Sequence[str]]], y: float) -> None:
    """Write what each numbered mark is."""
    for name, lines in key:
        sheet.dot(11, y - 3.4, 6.5, look="lw-soft")
        sheet.text(11, y, name, size=9, anchor="middle")
        for line in lines:
            sheet.text(24, y, line, size=SMALL_SIZE)
            y += _KEY_LINE
