"""The plan against plane geometry: what is seen turns and moves with the plan, and agrees with angles measured another way."""

from __future__ import annotations

import math
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright.job.document import Equipment, Job, Premises, Region, Room, Storey
from loopwright.job.sheet import EquipmentSheet, Kind, Sheets
from loopwright.programme.floor import Rectangle, length_m, opening, points_along, sees, walked

PLACE = st.tuples(st.floats(0, 8), st.floats(0, 6))


def hall(at: tuple[float, float], facing_deg: float | None = None, reach_m: float | None = None, angle_deg: float | None = None) -> Job:
    """Return one room of 8 m by 6 m with a detector in it."""
    sheet = EquipmentSheet(kind=Kind.DETECTOR, maker="Example", model="D", reach_m=reach_m, angle_deg=angle_deg)
    return Job(
        format=1, title="t", premises=Premises(name="p"), region=Region(country="GB", ruleset="custom"),
        storeys={"ground": Storey(name="Ground", rooms={"hall": Room(name="Hall", left_m=0, front_m=0, width_m=8, depth_m=6)})},
        sheets=Sheets(equipment={"d": sheet}),
        equipment={"d": Equipment(sheet="d", room="hall", left_m=at[0], front_m=at[1], facing_deg=facing_deg)},
    )  # fmt: skip


@settings(max_examples=60)
@given(PLACE, PLACE, st.floats(0, 360), st.floats(20, 180), st.floats(1, 12))
def test_a_point_is_seen_when_the_scalar_product_says_so(
    at: tuple[float, float], point: tuple[float, float], facing_deg: float, angle_deg: float, reach_m: float
) -> None:
    away = math.dist(at, point)
    ahead = (point[0] - at[0]) * math.cos(math.radians(facing_deg)) + (point[1] - at[1]) * math.sin(math.radians(facing_deg))
    edge = away * math.cos(math.radians(angle_deg / 2))
    # At the very edge of the cone or of the reach rounding decides.
    if abs(ahead - edge) < 1e-6 or abs(away - reach_m) < 1e-6 or away < 1e-6:
        return
    assert sees(hall(at, facing_deg, reach_m, angle_deg), "d", (point,)) is (ahead > edge and away < reach_m)


def test_a_wall_stops_a_detector_and_what_is_not_drawn_is_not_known() -> None:
    job = hall((1, 1))
    assert sees(job, "d", ((9.0, 3.0), (12.0, 3.0))) is False
    assert sees(job, "d", ((9.0, 3.0), (7.0, 3.0))) is True
    assert sees(replace(job, storeys={}), "d", ((1.0, 1.0),)) is None
    assert sees(job, "d", ()) is None


@given(st.lists(PLACE, min_size=2, max_size=5))
def test_points_along_a_line_keep_its_length_and_stay_close(line: list[tuple[float, float]]) -> None:
    points = points_along(tuple(line))
    assert points[0] == line[0] and math.isclose(math.dist(points[-1], line[-1]), 0, abs_tol=1e-9)
    assert math.isclose(length_m(tuple(points)), length_m(tuple(line)), abs_tol=1e-9)
    assert all(math.dist(one, other) <= 0.1 + 1e-9 for one, other in zip(points, points[1:], strict=False))


def test_a_doorway_is_in_the_middle_of_the_wall_two_rooms_share() -> None:
    one = Rectangle(left_m=0, front_m=0, right_m=4, back_m=3)
    assert opening(one, Rectangle(left_m=1, front_m=3.1, right_m=3, back_m=6)) == (2.0, 3.05)
    assert opening(one, Rectangle(left_m=5, front_m=0, right_m=6, back_m=3)) is None
    assert opening(one, Rectangle(left_m=4, front_m=3, right_m=6, back_m=6)) is None


def test_no_line_leads_through_rooms_that_share_no_wall_nor_up_the_stairs() -> None:
    job = hall((1, 1))
    door = replace(job.equipment["d"], left_m=7.0, front_m=5.0)
    job = replace(job, equipment={**job.equipment, "door": door})
    assert walked(job, "door", "d", ("hall",)) == ((7.0, 5.0), (1, 1))
    assert walked(job, "door", "d", ("hall", "attic")) == ()
    upstairs = Storey(name="Up", rooms={"attic": Room(name="Attic", left_m=8, front_m=0, width_m=2, depth_m=6)})
    assert walked(replace(job, storeys={**job.storeys, "up": upstairs}), "door", "d", ("hall", "attic")) == ()
