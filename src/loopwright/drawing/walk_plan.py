"""The plan of a storey with the ways people walk on it, and what each detector sees."""

from __future__ import annotations

import math

from loopwright.drawing.pen import FIRM, HAIR, LETTER, SMALL_SIZE, Sheet, fitted
from loopwright.job.document import Job
from loopwright.job.sheet import Kind
from loopwright.programme.floor import Point, Rectangle, place_of, rectangle, rooms_of
from loopwright.programme.route import IN, Route, devices_of

WIDE, NARROW, EDGE = 470.0, 380.0, 14.0
TALLEST = 420.0


def walk_plan(job: Job, storey: str, routes: tuple[Route, ...], *, narrow: bool = False) -> str:
    """Return a storey with the routes that lie on it, as SVG; empty where the storey has no drawn room."""
    drawn = {name: shape for name, room in job.storeys[storey].rooms.items() if (shape := rectangle(room)) is not None}
    if not drawn:
        return ""
    left, back = min(each.left_m for each in drawn.values()), max(each.back_m for each in drawn.values())
    wide_m, deep_m = max(each.right_m for each in drawn.values()) - left, back - min(each.front_m for each in drawn.values())
    width = NARROW if narrow else WIDE
    scale = min((width - 2 * EDGE) / wide_m, (TALLEST - 2 * EDGE) / deep_m)
    name = job.storeys[storey].name
    sheet = Sheet(
        width=wide_m * scale + 2 * EDGE,
        height=deep_m * scale + 2 * EDGE,
        title=f"{name}: walking routes",
        about=plan_words(job, routes),
        name="walk-plan",
    )
    view = _View(left_m=left, back_m=back, scale=scale)
    for key, shape in drawn.items():
        _room(sheet, view, shape, job.storeys[storey].rooms[key].name)
    passed = {device for route in routes for each in route.passed for device in devices_of(job, job.zones[each.zone])}
    alarms = {device for route in routes for each in route.passed if each.alarms for device in devices_of(job, job.zones[each.zone])}
    taken = list[_Box]()
    for device, item in job.equipment.items():
        if item.room in drawn and place_of(job, device) is not None:
            state = "refuses" if device in alarms else "sees" if device in passed else ""
            _device(sheet, view, job, device, drawn[item.room], state, taken)
    for line in dict.fromkeys(route.line for route in routes if route.way == IN and route.line):
        _walk(sheet, view, line)
    return sheet.svg()


def plan_words(job: Job, routes: tuple[Route, ...]) -> str:
    """Return the routes of a plan in words, for who cannot see it."""
    said = []
    for route in routes:
        seen = ", ".join(f"zone {job.zones[each.zone].number}{' (alarm)' if each.alarms else ''}" for each in route.passed) or "nothing"
        said.append(f"{route.way} by zone {job.zones[route.door].number}, past {seen}")
    return "; ".join(dict.fromkeys(said)) or "no route lies on this storey"


class _View:
    """From metres to the drawing: the near edge of the building is at the foot of the sheet."""

    def __init__(self, *, left_m: float, back_m: float, scale: float) -> None:
        self._left_m, self._back_m, self.scale = left_m, back_m, scale

    def at(self, point: Point) -> Point:
        """Return where a point stands."""
        return ((point[0] - self._left_m) * self.scale + EDGE, (self._back_m - point[1]) * self.scale + EDGE)


def _room(sheet: Sheet, view: _View, shape: Rectangle, name: str) -> None:
    x, y = view.at((shape.left_m, shape.back_m))
    width, height = (shape.right_m - shape.left_m) * view.scale, (shape.back_m - shape.front_m) * view.scale
    sheet.box(x, y, width, height, line=FIRM, look="lw-soft")
    sheet.text(x + 6, y + height - 7, fitted(name, width - 12, SMALL_SIZE), size=SMALL_SIZE, look="lw-soft")


_Box = tuple[float, float, float, float]
"""Where words stand: left, top, right and foot."""


def _device(sheet: Sheet, view: _View, job: Job, device: str, room: Rectangle, state: str, taken: list[_Box]) -> None:
    """Draw one device; of a detector also what it sees, hatched out at the walls of its room. ``taken`` is where words stand already."""
    item, sheet_of, at = job.equipment[device], job.sheet_of(device), place_of(job, device)
    assert at is not None, "only what is drawn comes here"
    x, y = view.at(at)
    if sheet_of.kind is Kind.DETECTOR:
        cone = _cone(at, item.facing_deg, sheet_of.reach_m, sheet_of.angle_deg, room)
        sheet.shape(
            [view.at(point) for point in cone], look="lw-short" if state == "refuses" else "lw-fill", opacity=0.16 if state else 0.06
        )
        sheet.line(
            [view.at(point) for point in (*cone, cone[0])],
            width=HAIR,
            dash="" if state else "2 4",
            look="lw-short" if state == "refuses" else "lw-soft",
        )
    sheet.dot(x, y, 4, filled=sheet_of.kind is Kind.KEYPAD)
    words = f"{item.label or device}{', alarms' if state == 'refuses' else ''}"
    words = fitted(words, sheet.width / 2, SMALL_SIZE)
    # On the side where there is more room, inside the device's own room: below it where it stands near the far wall.
    right, below = x < sheet.width / 2, (at[1] - room.front_m) * 2 > room.back_m - room.front_m
    down = 16 if below else -18 if sheet_of.kind is Kind.CONTACT else -6
    places = [(side, line) for line in (down, -down, 2 * down, -2 * down) for side in (right, not right)]
    side, line = next((each for each in places if _free(_box(x, y, words, *each), sheet, taken)), places[0])
    taken.append(_box(x, y, words, side, line))
    sheet.text(
        x + (8 if side else -8), y + line, words, size=SMALL_SIZE, anchor="start" if side else "end", bold=state == "refuses"
    )  # fmt: skip


def _box(x: float, y: float, words: str, right: bool, down: float) -> _Box:
    """Return where words beside a place would stand."""
    wide = len(words) * SMALL_SIZE * LETTER
    left = x + 8 if right else x - 8 - wide
    return (left, y + down - SMALL_SIZE, left + wide, y + down)


def _free(box: _Box, sheet: Sheet, taken: list[_Box]) -> bool:
    """Return whether words would stand on the sheet and upon no others."""
    inside = box[0] >= 0 and box[2] <= sheet.width and box[1] >= 0 and box[3] <= sheet.height
    return inside and all(box[2] <= each[0] or each[2] <= box[0] or box[3] <= each[1] or each[3] <= box[1] for each in taken)


def _cone(at: Point, facing_deg: float | None, reach_m: float | None, angle_deg: float | None, room: Rectangle) -> list[Point]:
    """Return the outline of what a detector sees, cut off at the walls."""
    whole = facing_deg is None or angle_deg is None
    first, turn = (0.0, 360.0) if facing_deg is None or angle_deg is None else (facing_deg - angle_deg / 2, angle_deg)
    outline = [] if whole else [at]
    for step in range(61):
        bearing = math.radians(first + turn * step / 60)
        outline.append(_as_far(at, (math.cos(bearing), math.sin(bearing)), reach_m, room))
    return outline


def _as_far(at: Point, way: Point, reach_m: float | None, room: Rectangle) -> Point:
    """Return how far one sees one way: to the wall, or the reach."""
    far = math.inf if reach_m is None else reach_m
    for here, towards, low, high in ((at[0], way[0], room.left_m, room.right_m), (at[1], way[1], room.front_m, room.back_m)):
        if abs(towards) > 1e-9:
            far = min(far, max(0.0, ((high if towards > 0 else low) - here) / towards))
    return (at[0] + way[0] * far, at[1] + way[1] * far)


def _walk(sheet: Sheet, view: _View, line: tuple[Point, ...]) -> None:
    points = [view.at(point) for point in line]
    sheet.line(points, width=2.2, dash="7 4", look="lw-walk")
    (x0, y0), (x1, y1) = points[-2], points[-1]
    turn = math.atan2(y1 - y0, x1 - x0)
    for side in (2.6, -2.6):
        sheet.line(((x1, y1), (x1 + 9 * math.cos(turn + side), y1 + 9 * math.sin(turn + side))), width=2.2, look="lw-walk")


def storeys_walked(job: Job, routes: tuple[Route, ...]) -> dict[str, tuple[Route, ...]]:
    """Return the storeys with a drawn room, each with the routes whose door stands on it."""
    rooms, found = rooms_of(job), dict[str, tuple[Route, ...]]()
    for storey, each in job.storeys.items():
        if not any(rectangle(room) for room in each.rooms.values()):
            continue
        here = [
            route
            for route in routes
            if any(rooms.get(job.equipment[device].room or "", ("",))[0] == storey for device in devices_of(job, job.zones[route.door]))
        ]
        if here:
            found[storey] = tuple(here)
    return found
