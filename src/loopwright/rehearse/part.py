"""The parts of a programme that are searched one at a time: what is followed in each, and what stands for the rest."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache

from loopwright.programme.response import ANY_TIME, ON_THE_WAY, QUIET, Response
from loopwright.rehearse.plan import AreaPlan, Choices, Column, Person, Programme, ZonePlan, may_be_left
from loopwright.rehearse.search import Reached, search

OTHERS = "the other areas"
KEPT_SEARCHES = 512
MOST_SOUNDINGS = 7
"""Where the sounders may sound oftener than that, it is not counted: what else can be reached is the same."""


@lru_cache(maxsize=KEPT_SEARCHES)
def reached(part: Programme) -> Reached:
    """Return what a part can reach. What was searched a moment ago is not searched again."""
    return search(part)


def part_of(
    whole: Programme,
    areas: Iterable[str],
    followed: Iterable[str] = (),
    *,
    observers: Iterable[str] = (),
    observed: Iterable[str] | None = None,
    tracks: Iterable[str] = (),
    each: int = 1,
) -> Programme:
    """Return a part: some areas, some zones followed, of the others ``each`` of every kind, that nothing is remembered of.

    A shared area keeps those it is shared by that are in the part; one stand-in takes the place of the rest. Where the others are
    not told apart, those that do nothing the rest of them would not do are left out.
    """
    chosen, kept = tuple(dict.fromkeys(areas)), tuple(dict.fromkeys(followed))
    plans = {name: _served(whole, name, chosen) for name in chosen}
    if any(OTHERS in plan.serves for plan in plans.values()):
        plans[OTHERS] = AreaPlan(name=OTHERS, stand_in=True)
    zones = {name: _lying(whole.zones[name], chosen, True) for name in kept}
    told = _told(whole.told, bool(observers or tracks))
    judged = any(may_be_left(told, zone) for zone in zones.values())
    # Where what is confirmed matters, the others are told apart: two of a kind confirm each other's alarm, and so do two that do the same.
    rest = _rest(whole, chosen, set(kept), max(each, 2) if judged else each)
    return replace(
        whole,
        told=told,
        areas=plans,
        zones=zones | (rest if judged or "confirm" in observers else _needed(rest)),
        people=distinct(whole.people, chosen),
        observers=frozenset(observers),
        observed=None if observed is None else frozenset(observed),
        tracks=frozenset(tracks),
        walk=None,
    )


def _told(told: Choices, beside: bool) -> Choices:
    """Return the choices of a part. A zone left inhibited opens with no alarm; nothing looked at ``beside`` the areas depends on that."""
    if told.soundings > MOST_SOUNDINGS:
        told = replace(told, soundings=0)
    return replace(told, unconfirmed="watched") if beside and told.unconfirmed != "watched" else told


def _served(whole: Programme, name: str, chosen: tuple[str, ...]) -> AreaPlan:
    plan = whole.areas[name]
    if not plan.serves:
        return plan
    inside = tuple(each for each in plan.serves if each in chosen)
    return replace(plan, serves=inside if len(inside) == len(plan.serves) else (*inside, OTHERS))


@lru_cache(maxsize=4096)
def _lying(zone: ZonePlan, areas: tuple[str, ...], followed: bool) -> ZonePlan:
    """Return a zone as it lies in some areas; of one that is not followed only what can change anything is told."""
    here = replace(zone, areas=tuple(area for area in zone.areas if area in areas), followed=followed)
    if followed:
        return here
    does = tuple(does if _changes(does, column) else Response.IGNORED for column, does in enumerate(zone.does))
    return replace(here, does=does, contact=zone.contact and not ON_THE_WAY.isdisjoint(does))


def _rest(whole: Programme, areas: tuple[str, ...], kept: set[str], each: int) -> dict[str, ZonePlan]:
    """Return so many zones of every kind that is not followed: those that lie in the same areas and do the same."""
    found, kinds = {}, dict[Kind, int]()
    for name, zone in whole.zones.items():
        if name in kept or not any(area in areas for area in zone.areas):
            continue
        plan = _lying(zone, areas, False)
        kind = _kind(plan)
        if kinds.get(kind, 0) < each:
            kinds[kind] = kinds.get(kind, 0) + 1
            found[name] = plan
    return found


Kind = tuple[tuple[str, ...], Column, bool]
"""What tells zones apart of which nothing is remembered: the areas, what is done in them, whether they stay open."""


def _kind(zone: ZonePlan) -> Kind:
    return (zone.areas, zone.does, zone.contact)


def _needed(rest: dict[str, ZonePlan]) -> dict[str, ZonePlan]:
    """Leave out what changes nothing that another zone would not change."""
    kept = _needed_kinds(frozenset(map(_kind, rest.values())))
    return {name: zone for name, zone in rest.items() if _kind(zone) in kept}


@lru_cache(maxsize=KEPT_SEARCHES)
def _needed_kinds(kinds: frozenset[Kind]) -> frozenset[Kind]:
    """Leave out kinds of which in each column nothing is done, or what another kind does there.

    What a zone does that is not remembered depends on the column of its one area alone; one of several areas is kept.
    """
    kept = set(kinds)
    for kind in sorted(kinds, key=lambda kind: (sum(_changes(does, column) for column, does in enumerate(kind[1])), kind)):
        others = [each for each in kept if each != kind and each[0] == kind[0]]
        if len(kind[0]) == 1 and others and all(_done(kind, column, others) for column in range(len(kind[1]))):
            kept.remove(kind)
    return frozenset(kept)


def _changes(does: Response, column: int) -> bool:
    """Return whether a zone that is activated can change anything there; while unset only what answers at any time does."""
    return does in ANY_TIME if column == 0 else does not in QUIET


def _done(kind: Kind, column: int, others: Iterable[Kind]) -> bool:
    _, column_does, contact = kind
    does = column_does[column]
    stands_open = contact and does in ON_THE_WAY
    return not _changes(does, column) or any(each[1][column] == does and (each[2] or not stands_open) for each in others)


@lru_cache(maxsize=4096)
def _wordless(zone: ZonePlan) -> ZonePlan:
    return replace(zone, text="")


def masked(part: Programme) -> tuple[Programme, dict[str, str]]:
    """Return a part with its zones named by their place in it, and what each is named so: zones that do the same are searched once."""
    rest = sorted((name for name, zone in part.zones.items() if not zone.followed), key=lambda name: _kind(part.zones[name]))
    order = part.zones if part.walk else [*part.followed, *rest]
    names = {name: f"zone {number}" for number, name in enumerate(order, start=1)}
    zones = {names[name]: _wordless(part.zones[name]) for name in order}
    walk = part.walk and replace(part.walk, door=names[part.walk.door], past=tuple(names[each] for each in part.walk.past))
    return replace(part, zones=zones, walk=walk), names


@lru_cache(maxsize=KEPT_SEARCHES)
def distinct(people: tuple[Person, ...], areas: tuple[str, ...]) -> tuple[Person, ...]:
    """Return one person for each different set of rights in some areas; who has none there, and is no engineer, is left out."""
    found = dict[tuple[object, ...], Person]()
    for person in people:
        may = tuple((area, right) for area, right in person.may if area in areas)
        if may or person.engineer:
            found.setdefault((may, person.engineer, person.duress, person.fob), replace(person, may=may))
    return tuple(found.values())
