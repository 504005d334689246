"""The plan of a storey: rooms as rectangles, equipment in them, the line somebody walks, and what a detector sees of it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from loopwright.job.document import Job, Room

Point = tuple[float, float]
STEP_M = 0.1
"""How fine a walk is looked at [m]."""
DOORWAY_M = 0.3
"""How far two rooms' edges may stand apart and still share a wall [m]: its thickness and what was measured badly."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Rectangle:
    """A room on the plan [m]."""

    left_m: float
    front_m: float
    right_m: float
    back_m: float

    def holds(self, point: Point, slack_m: float = 0.0) -> bool:
        """Return whether a point lies in it, or no further outside than a slack."""
        x, y = point
        return self.left_m - slack_m <= x <= self.right_m + slack_m and self.front_m - slack_m <= y <= self.back_m + slack_m

    @property
    def centre(self) -> Point:
        """Return its middle."""
        return ((self.left_m + self.right_m) / 2, (self.front_m + self.back_m) / 2)


def rectangle(room: Room) -> Rectangle | None:
    """Return a room on the plan; None where it is not drawn."""
    left, front, width, depth = room.left_m, room.front_m, room.width_m, room.depth_m
    if left is None or front is None or not width or not depth:
        return None
    return Rectangle(left_m=left, front_m=front, right_m=left + width, back_m=front + depth)


def rooms_of(job: Job) -> dict[str, tuple[str, Room]]:
    """Return every room with the storey it is on."""
    return {key: (storey, room) for storey, each in job.storeys.items() for key, room in each.rooms.items()}


def place_of(job: Job, equipment: str) -> Point | None:
    """Return where a piece of equipment stands on the plan; None where nobody has drawn it."""
    item = job.equipment[equipment]
    return None if item.left_m is None or item.front_m is None else (item.left_m, item.front_m)


def opening(one: Rectangle, other: Rectangle) -> Point | None:
    """Return the middle of the wall two rooms share, where a doorway is taken to be; None where they share none.

    >>> opening(Rectangle(left_m=0, front_m=0, right_m=4, back_m=3), Rectangle(left_m=4, front_m=1, right_m=6, back_m=3))
    (4.0, 2.0)
    """
    low_x, high_x = max(one.left_m, other.left_m), min(one.right_m, other.right_m)
    low_y, high_y = max(one.front_m, other.front_m), min(one.back_m, other.back_m)
    across = abs(high_x - low_x) <= DOORWAY_M and high_y > low_y
    along = abs(high_y - low_y) <= DOORWAY_M and high_x > low_x
    return ((low_x + high_x) / 2, (low_y + high_y) / 2) if across or along else None


def walked(job: Job, door: str, keypad: str, way: tuple[str, ...]) -> tuple[Point, ...]:
    """Return the line from a door to a keypad through rooms, from doorway to doorway; empty where no one storey's plan holds it."""
    rooms, start, end = rooms_of(job), place_of(job, door), place_of(job, keypad)
    if start is None or end is None or any(name not in rooms for name in way) or len({rooms[name][0] for name in way}) != 1:
        return ()
    shapes = [rectangle(rooms[name][1]) for name in way]
    line = [start]
    for one, other in zip(shapes, shapes[1:], strict=False):
        through = opening(one, other) if one is not None and other is not None else None
        if through is None:
            return ()
        line.append(through)
    return (*line, end)


def length_m(line: tuple[Point, ...]) -> float:
    """Return the length of a line [m]."""
    return sum(math.dist(one, other) for one, other in zip(line, line[1:], strict=False))


def points_along(line: tuple[Point, ...]) -> list[Point]:
    """Return points along a line, no further apart than the step, its ends among them."""
    found = list(line[:1])
    for one, other in zip(line, line[1:], strict=False):
        parts = max(1, math.ceil(math.dist(one, other) / STEP_M))
        found += [(one[0] + (other[0] - one[0]) * n / parts, one[1] + (other[1] - one[1]) * n / parts) for n in range(1, parts + 1)]
    return found


def sees(job: Job, detector: str, line: tuple[Point, ...]) -> bool | None:
    """Return whether a detector sees somebody on a line: in its own room, within its reach and its angle. None where nobody drew it.

    Walls stop it; furniture does not. A sheet that gives no reach or no angle is taken to see all of the room.
    """
    item, sheet, at = job.equipment[detector], job.sheet_of(detector), place_of(job, detector)
    room = rooms_of(job).get(item.room or "")
    own = rectangle(room[1]) if room else None
    if at is None or own is None or not line:
        return None
    return any(own.holds(point) and _within(at, point, item.facing_deg, sheet.reach_m, sheet.angle_deg) for point in points_along(line))


def _within(at: Point, point: Point, facing_deg: float | None, reach_m: float | None, angle_deg: float | None) -> bool:
    away = math.dist(at, point)
    if reach_m is not None and away > reach_m:
        return False
    if facing_deg is None or angle_deg is None or away == 0:
        return True
    bearing = math.degrees(math.atan2(point[1] - at[1], point[0] - at[0]))
    turned = abs((bearing - facing_deg + 180) % 360 - 180)
    return turned <= angle_deg / 2
