"""The parts of a programme that are searched one at a time: what is followed in each, and what stands for the rest."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache

from loopwright.programme.response import ANY_TIME, ON_THE_WAY, QUIET
from loopwright.rehearse.plan import AreaPlan, Person, Programme, ZonePlan
from loopwright.rehearse.search import Reached, search
from loopwright.rehearse.table import table_of

OTHERS = "the other areas"
KEPT_SEARCHES = 512


@lru_cache(maxsize=KEPT_SEARCHES)
def reached(part: Programme) -> Reached:
    """Return what a part can reach. What was searched a moment ago is not searched again."""
    return search(table_of(part))


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
    zones = {name: replace(_lying(whole.zones[name], chosen), followed=True) for name in kept}
    rest = _rest(whole, chosen, set(kept), each)
    return replace(
        whole,
        areas=plans,
        zones=zones | (rest if "confirm" in observers else _needed(rest)),
        people=distinct(whole.people, chosen),
        observers=frozenset(observers),
        observed=None if observed is None else frozenset(observed),
        tracks=frozenset(tracks),
        walk=None,
    )


def _served(whole: Programme, name: str, chosen: tuple[str, ...]) -> AreaPlan:
    plan = whole.areas[name]
    if not plan.serves:
        return plan
    inside = tuple(each for each in plan.serves if each in chosen)
    return replace(plan, serves=inside if len(inside) == len(plan.serves) else (*inside, OTHERS))


def _lying(zone: ZonePlan, areas: tuple[str, ...]) -> ZonePlan:
    return replace(zone, areas=tuple(area for area in zone.areas if area in areas))


def _rest(whole: Programme, areas: tuple[str, ...], kept: set[str], each: int) -> dict[str, ZonePlan]:
    """Return so many zones of every kind that is not followed: those that lie in the same areas and do the same."""
    found, kinds = {}, dict[ZonePlan, int]()
    for name, zone in whole.zones.items():
        if name in kept or not set(zone.areas) & set(areas):
            continue
        plan = replace(_lying(zone, areas), followed=False)
        kind = replace(plan, text="")
        if kinds.get(kind, 0) < each:
            kinds[kind] = kinds.get(kind, 0) + 1
            found[name] = plan
    return found


def _needed(rest: dict[str, ZonePlan]) -> dict[str, ZonePlan]:
    """Leave out what changes nothing that another zone would not change: in each column nothing is done, or what another does there.

    What a zone does that is not remembered depends on the column of its one area alone; one of several areas is kept.
    """
    kept = dict(rest)
    for name, zone in sorted(rest.items(), key=lambda item: sum(_changes(item[1], column) for column in range(len(item[1].does)))):
        others = [each for other, each in kept.items() if other != name and each.areas == zone.areas]
        if len(zone.areas) == 1 and others and all(_done(zone, column, others) for column in range(len(zone.does))):
            del kept[name]
    return kept


def _changes(zone: ZonePlan, column: int) -> bool:
    """Return whether a zone that is activated can change anything there; while unset only what answers at any time does."""
    return zone.does[column] in ANY_TIME if column == 0 else zone.does[column] not in QUIET


def _done(zone: ZonePlan, column: int, others: Iterable[ZonePlan]) -> bool:
    does = zone.does[column]
    stands_open = zone.contact and does in ON_THE_WAY
    return not _changes(zone, column) or any(each.does[column] == does and (each.contact or not stands_open) for each in others)


def masked(part: Programme) -> tuple[Programme, dict[str, str]]:
    """Return a part with its zones named by their place in it, and what each is named so: zones that do the same are searched once."""
    rest = sorted((name for name, zone in part.zones.items() if not zone.followed), key=lambda name: _kind(part.zones[name]))
    order = part.zones if part.walk else [*part.followed, *rest]
    names = {name: f"zone {number}" for number, name in enumerate(order, start=1)}
    zones = {names[name]: replace(part.zones[name], text="") for name in order}
    walk = part.walk and replace(part.walk, door=names[part.walk.door], past=tuple(names[each] for each in part.walk.past))
    return replace(part, zones=zones, walk=walk), names


def _kind(zone: ZonePlan) -> tuple[object, ...]:
    return (zone.areas, zone.does, zone.contact)


@lru_cache(maxsize=KEPT_SEARCHES)
def distinct(people: tuple[Person, ...], areas: tuple[str, ...]) -> tuple[Person, ...]:
    """Return one person for each different set of rights in some areas; who has none there, and is no engineer, is left out."""
    found = dict[tuple[object, ...], Person]()
    for person in people:
        may = tuple((area, right) for area, right in person.may if area in areas)
        if may or person.engineer:
            found.setdefault((may, person.engineer, person.duress), replace(person, may=may))
    return tuple(found.values())
