"""Walking routes of the invented dwelling: who, by which door, past what, in what time."""

from __future__ import annotations

from dataclasses import replace

import pytest

import loopwright.demo
from loopwright.job.document import Area, Job
from loopwright.job.read import read
from loopwright.programme.route import IN, LISTED, OUT, ROOM, Route, routes_of
from loopwright.programme.unprotected import time_words, unprotected


def dwelling(**said: object) -> Job:
    """Return the dwelling with something else said of its one area."""
    job = read(loopwright.demo.text("dwelling")).job
    plain = {"entry_doors": ("z01",), "walked_past": ("z06",), "walk_s": 20.0, "keypad": None, "way": (), "entry_s": 30.0, "exit_s": 60.0}
    return replace(job, areas={"house": replace(job.areas["house"], **(plain | said))})  # type: ignore[arg-type]


def only(job: Job, user: str, way: str) -> Route:
    (found,) = [route for route in routes_of(job) if route.user == user and route.way == way]
    return found


def test_everybody_with_the_right_walks_in_and_out_and_nobody_else() -> None:
    assert {(route.user, route.way) for route in routes_of(dwelling())} == {
        (user, way) for user in ("owner", "sitter") for way in (IN, OUT)
    }


@pytest.mark.parametrize(("walk_s", "spare_s"), [(30.0, 0.0), (31.0, -1.0), (12.5, 17.5)])
def test_the_time_left_over_is_the_entry_time_less_the_walk(walk_s: float, spare_s: float) -> None:
    route = only(dwelling(walk_s=walk_s), "owner", IN)
    assert route.spare_s == spare_s and route.in_order is (spare_s >= 0)


def test_a_person_with_a_time_of_their_own_is_held_to_it() -> None:
    job = dwelling()
    job = replace(job, users={**job.users, "sitter": replace(job.users["sitter"], walk_s=70.0)})
    assert only(job, "sitter", OUT).spare_s == -10 and only(job, "owner", OUT).spare_s == 40


def test_a_listed_zone_is_borne_where_it_is_a_route_and_not_where_it_is_immediate() -> None:
    (motion,) = only(dwelling(), "owner", IN).passed
    assert (motion.zone, motion.known, motion.tolerated) == ("z06", LISTED, (True, True))
    (family,) = only(dwelling(walked_past=("z07",)), "owner", IN).passed
    assert family.does == ("immediate", "ignored") and family.tolerated == (False, True)


def test_a_detector_in_a_room_walked_through_is_passed_even_if_nobody_lists_it() -> None:
    job = dwelling(walked_past=(), keypad="pad-foyer", way=("foyer", "living"))
    job = replace(job, equipment={name: replace(item, left_m=None, front_m=None) for name, item in job.equipment.items()})
    assert [(each.zone, each.known) for each in only(job, "owner", IN).passed] == [("z06", ROOM)]


def test_a_zone_of_another_area_tolerates_nobody() -> None:
    job = dwelling()
    shed = {**job.areas, "shed": Area(name="Shed")}
    job = replace(job, areas=shed, zones={**job.zones, "z06": replace(job.zones["z06"], areas=("shed",))})
    assert only(job, "owner", IN).passed[0].tolerated == (False, True)


def test_the_time_through_a_shared_area_is_the_shorter_of_the_two() -> None:
    job = dwelling()
    lobby = Area(name="Lobby", entry_s=15.0, exit_s=90.0, common_to=("house",))
    job = replace(job, areas={**job.areas, "lobby": lobby}, zones={**job.zones, "z01": replace(job.zones["z01"], areas=("lobby",))})
    assert only(job, "owner", IN).allowed_s == 15 and only(job, "owner", OUT).allowed_s == 60
    assert only(job, "owner", IN).begins == (True, True)


def test_a_zone_that_is_locked_out_is_quiet_until_somebody_unsets_and_the_time_is_what_was_said() -> None:
    """The question: the zone went quiet after several alarms; for how long is nothing watched there?"""
    job = dwelling(longest_set_h=336.0)
    job = replace(job, programme=replace(job.programme, lock_out_trips=2, lock_out_reset="unset"))
    quiet = unprotected(job)[0]
    assert "locked out after 2" in quiet.why and quiet.most_s == 14 * 86400 and time_words(quiet.most_s) == "14 days"
    unsaid = unprotected(replace(job, areas={"house": replace(job.areas["house"], longest_set_h=None)}))[0]
    assert unsaid.most_s is None and unsaid.unknown == "areas/house/longest_set_h"
    midnight = unprotected(replace(job, programme=replace(job.programme, lock_out_reset="midnight")))[0]
    assert midnight.most_s == 86400


@pytest.mark.parametrize(("entered", "states"), [(None, ("full", "stay")), ("every-set", ("full", "stay")), ("full", ("full",))])
def test_a_route_is_taken_in_the_set_states_people_come_in_in(entered: str | None, states: tuple[str, ...]) -> None:
    assert {route.states for route in routes_of(dwelling(entered=entered))} == {states}
