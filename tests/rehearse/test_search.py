"""The table against the plain step, the searches against one that visits states one by one, and each simplification against the whole."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from random import Random

import pytest

from loopwright.programme.response import Response
from loopwright.rehearse.part import MOST_SOUNDINGS, OTHERS, masked, part_of
from loopwright.rehearse.plan import Programme, ZonePlan
from loopwright.rehearse.search import Reached, TooManyStatesError, search
from loopwright.rehearse.state import ANOTHER, FIRST, begin, fields, known
from loopwright.rehearse.step import core_effect, events, step
from loopwright.rehearse.story import story_of
from loopwright.rehearse.timed import Timed, by_the_clock
from often import often
from rehearse.drawn import programme
from rehearse.one_by_one import Fixed, at_any_time, fixed
from rehearse.one_by_one import by_the_clock as one_by_one

LARGEST = 4_000
OBSERVERS = ("report", "sound", "confirm")


def small(random: Random) -> Programme:
    made = kinds(random)
    return with_further_ways(random, made) if random.random() < 0.5 else made


def with_further_ways(random: Random, made: Programme) -> Programme:
    """Let areas set themselves, somebody set by fob, what is locked out come back when it was quiet, and sounders sound so often."""
    areas = {}
    for name, plan in made.areas.items():
        by_itself = not plan.serves and random.random() < 0.8
        areas[name] = replace(plan, by_itself=by_itself, warns_s=10.0 * random.randint(0, 2) if by_itself else 0.0)
    fob = replace(made.people[0], name="by fob", duress=False, engineer=False, fob=True)
    told = replace(made.told, trips_quiet_s=10.0 * random.randint(0, 2), soundings=random.randint(0, 2))
    return replace(made, areas=areas, people=(*made.people, fob), told=told)


def kinds(random: Random) -> Programme:
    kind = random.choice(["plain", "observed", "tracked", "two", "shared"])
    if kind == "two":
        return programme(random, areas=2, followed=1, rest=random.randint(0, 1))
    if kind == "shared":
        return programme(random, areas=1, lobby=True, followed=1, rest=random.randint(0, 1))
    more = {"observers": frozenset([random.choice(OBSERVERS)])} if kind == "observed" else {}
    more |= {"tracks": frozenset([random.choice(["power", "conditions"])])} if kind == "tracked" else {}
    return programme(random, followed=random.randint(0, 2), rest=random.randint(0, 1), **more)


def untimed(reached: Reached, packed: int) -> dict[str, int]:
    return reached.table.packing.unpack(packed) | dict.fromkeys(reached.table.clocks, 0)


def with_clocks(timed: Timed, packed: int) -> dict[str, int]:
    state = untimed(timed.reached, int(timed.reached.states[packed >> timed.clocks.bits]))
    for name, mask, at in zip(timed.reached.table.clocks, timed.clocks.masks, timed.clocks.at, strict=True):
        state[name] = (packed & mask) >> at
    return state


@pytest.mark.parametrize("seed", range(often(15)))
def test_both_searches_reach_what_the_step_reaches_in_as_many_events(seed: int) -> None:
    made = small(Random(seed))
    reached = search(made)
    timed = by_the_clock(reached)
    if timed.size > LARGEST:
        pytest.skip("one by one takes too long")
    assert {fixed(untimed(reached, int(each))): depth for depth, layer in enumerate(reached.layers) for each in layer} == at_any_time(made)
    found = {fixed(with_clocks(timed, int(each))): depth for depth, layer in enumerate(timed.layers) for each in layer}
    assert found == one_by_one(made)


@pytest.mark.parametrize("seed", range(often(15)))
def test_every_story_can_be_played_and_is_as_late_as_its_times_say(seed: int) -> None:
    made = small(Random(1000 + seed))
    reached = search(made)
    told = 0
    for state in reached.layers[-1][:3]:
        story = story_of(reached, int(state))
        if story is None:
            timed = by_the_clock(reached)
            assert timed.soonest(reached.states == state) is None
            continue
        told += 1
        assert played(made, [(scene.at_s, scene.event) for scene in story], reached.table) == reached.table.packing.unpack(int(state))
    assert told or reached.states.size > 1


def played(made: Programme, course: list[tuple[float, object]], table: object) -> dict[str, int]:
    """Play a story with the plain step, ticking between its times, and return the state without its clocks."""
    from loopwright.rehearse.state import Event, tick_s
    from loopwright.rehearse.step import TICK

    state, now_s, tick = begin(made), 0.0, tick_s(made)
    for at_s, event in course:
        assert isinstance(event, Event)
        while now_s < at_s - 1e-6:
            after = step(made, state, TICK)
            state = after[0] if after else state  # With no clock running, time goes by and nothing changes.
            now_s += tick
        taken = step(made, state, event)
        assert taken is not None, (at_s, event)
        state = taken[0]
    return {name: state[name] for name in fields(made)}


@pytest.mark.parametrize("seed", range(often(10)))
def test_areas_zones_and_system_never_read_an_observer(seed: int) -> None:
    random = Random(2000 + seed)
    made = programme(random, areas=random.randint(1, 2), followed=1, rest=1, observers=frozenset(OBSERVERS))
    watched = {name for name in fields(made) if name.rpartition(".")[2] in (*OBSERVERS, "told", "sounded")}
    watched -= {f"{area}.confirm" for area in made.judged}
    for _ in range(200):
        state = {name: random.randrange(size) for name, size in fields(made).items()}
        plain = {name: value for name, value in state.items() if name not in watched}
        for event in events(made):
            # A field that is not there cannot be read.
            core_effect(made, plain.__getitem__, event)


@pytest.mark.parametrize("seed", range(often(10)))
def test_observers_leave_what_the_areas_reach_as_it_is(seed: int) -> None:
    random = Random(3000 + seed)
    made = programme(random, followed=1, rest=1)
    alone = projected(search(made), list(fields(made)))
    for name in OBSERVERS:
        beside = search(replace(made, observers=frozenset([name])))
        assert projected(beside, list(fields(made))) == alone


@pytest.mark.parametrize("seed", range(often(6)))
def test_sounders_that_may_sound_so_often_that_it_is_not_counted_reach_what_they_reach_counted(seed: int) -> None:
    random = Random(9000 + seed)
    made = programme(random, followed=1, rest=1, observers=frozenset(["sound"]))
    counted = replace(made, told=replace(made.told, soundings=MOST_SOUNDINGS + random.randint(1, 5)))
    part = part_of(counted, counted.areas, ["z0"], observers=["sound"])
    kept = list(fields(part))
    assert not any(name.endswith(".sounded") for name in kept) and any(name.endswith(".sounded") for name in fields(counted))
    assert projected(search(counted), kept) == projected(search(part), kept)


def projected(reached: Reached, names: list[str], apart: Sequence[str] | None = None) -> set[Fixed]:
    """Return what some fields stand at together; zones are told ``apart`` as the first of an alarm or entry if followed, or if named."""
    made = reached.table.programme
    kept = list(made.followed if apart is None else apart)
    mine = {number: 2 + kept.index(zone) for number, zone in enumerate(known(made), 2) if zone in kept}

    def plain(name: str, value: int) -> int:
        if name.endswith(".starter") and value >= 2:
            return mine.get(value, ANOTHER)
        if name.endswith(".confirm") and value > FIRST:
            return FIRST - 1 + mine.get(value - FIRST + 1, 99)
        return value

    found = set()
    for each in reached.states:
        state = reached.table.packing.unpack(int(each))
        found.add(fixed({name: plain(name, state[name]) for name in names}))
    return found


@pytest.mark.parametrize("seed", range(often(12)))
def test_one_zone_followed_beside_the_rest_reaches_what_it_reaches_among_all_of_them(seed: int) -> None:
    random = Random(4000 + seed)
    whole = programme(random, followed=3, rest=0)
    whole = replace(whole, zones={name: replace(zone, areas=("a0",)) for name, zone in whole.zones.items()})
    whole = replace(whole, zones=whole.zones | {f"{name}b": zone for name, zone in list(whole.zones.items())[1:]})
    full = search(part_of(whole, ["a0"], list(whole.zones)))
    part = search(part_of(whole, ["a0"], ["z0"]))
    kept = list(fields(part.table.programme))
    inside, outside = projected(full, kept, ["z0"]), projected(part, kept, ["z0"])
    assert inside <= outside
    if not whole.told.trips and not part_of(whole, ["a0"], list(whole.zones)).left:
        assert inside == outside


@pytest.mark.parametrize("seed", range(often(15)))
def test_the_zones_and_people_kept_of_the_rest_reach_what_all_of_the_rest_reach(seed: int) -> None:
    random = Random(6000 + seed)
    beside = [{"observers": frozenset(["report"])}, {"observers": frozenset(["sound"])}, {"tracks": frozenset(["power"])}, {}]
    whole = programme(random, areas=random.randint(1, 2), followed=1, rest=5, **random.choice(beside))
    whole = with_further_ways(random, whole)
    whole = replace(whole, people=(*whole.people, *(replace(each, name=f"{each.name} too") for each in whole.people)))
    part = part_of(whole, whole.areas, ["z0"], observers=whole.observers, tracks=whole.tracks)
    assert len(part.people) < len(whole.people)
    left = whole.judged and not part.judged
    kept = [name for name in fields(part) if not (left and name.endswith(".open"))]
    inside, outside = projected(search(whole), kept), projected(search(part), kept)
    # Beside reports, sounders or power no zone is left inhibited: that reaches no less.
    assert inside <= outside and (left or inside == outside)


def test_of_the_rest_only_what_does_something_of_its_own_is_kept() -> None:
    does = {"a": ("ignored", "immediate", "entry-route"), "b": ("chime", "immediate", "ignored"), "c": ("24-hour", "24-hour", "24-hour")}
    zones = {name: ZonePlan(areas=("a0",), does=tuple(map(Response, words)), followed=False) for name, words in does.items()}
    whole = replace(programme(Random(1)), states=("full", "late"), zones=zones)
    assert set(part_of(whole, ["a0"]).zones) == {"a", "c"}
    assert set(part_of(whole, ["a0"], observers=["confirm"]).zones) == {"a", "b", "c"}


@pytest.mark.parametrize("seed", range(often(8)))
def test_a_part_under_other_names_reaches_the_same_layer_by_layer(seed: int) -> None:
    made = small(Random(7000 + seed))
    plain, names = masked(made)
    assert sorted(names) == sorted(made.zones) and set(names.values()) == set(plain.zones)
    mine, other = search(made), search(plain)
    assert [layer.size for layer in mine.layers] == [layer.size for layer in other.layers]
    assert masked(replace(made, zones=dict(reversed(made.zones.items()))))[0] == plain or len(made.followed) > 1


@pytest.mark.parametrize("seed", range(often(8)))
def test_two_zones_that_do_the_same_reach_the_same_changed_about(seed: int) -> None:
    """The sizes of the orbits add up to what is reached, and each of the two by itself reaches the same."""
    made = programme(Random(8000 + seed), followed=1, rest=0)
    twice = replace(made, zones=made.zones | {"twin": made.zones["z0"]})
    states = {each for each in projected(search(twice), list(fields(twice)))}
    orbits = {frozenset([each, changed_about(each)]) for each in states}
    assert sum(map(len, orbits)) == len(states)
    reached = search(twice)
    own = {name: projected(reached, [field for field in fields(twice) if field.startswith(name)]) for name in ("z0.", "twin.")}
    assert {fixed({"z0" + field[4:]: value for field, value in state}) for state in own["twin."]} == own["z0."]


def changed_about(state: Fixed) -> Fixed:
    """Return a state with the two zones in each other's place, also as the one that started entry or gave the first alarm."""
    found = {}
    for name, value in state:
        zone, dot, field = name.rpartition(".")
        other = {"starter": {2: 3, 3: 2}, "confirm": {FIRST + 1: FIRST + 2, FIRST + 2: FIRST + 1}}.get(field, {})
        found[f"{dict(z0='twin', twin='z0').get(zone, zone)}{dot}{field}"] = other.get(value, value)
    return fixed(found)


@pytest.mark.parametrize("seed", range(often(12)))
def test_a_stand_in_for_the_other_areas_lets_happen_what_they_let_happen(seed: int) -> None:
    random = Random(5000 + seed)
    made = programme(random, areas=2, lobby=True, followed=0, rest=0)
    both = tuple((area, "both") for area in made.areas)
    made = replace(made, people=(replace(made.people[0], may=both, duress=False),))
    full = search(part_of(made, ["hall", "a0", "a1"]))
    part = search(part_of(made, ["hall", "a0"]))
    assert OTHERS in part.table.programme.areas
    kept = [name for name in fields(part.table.programme) if not name.startswith(OTHERS)]
    inside, outside = projected(full, kept), projected(part, kept)
    # Without a door nobody goes out: where that makes a part set of a full one, only the stand-in is ever set in full.
    assert inside == outside or (made.told.unvacated == "part" and inside < outside)


def test_a_search_that_would_not_fit_is_refused_with_the_size() -> None:
    made = programme(Random(1), followed=1, rest=1)
    with pytest.raises(TooManyStatesError, match="more than 3 states"):
        search(made, most=3)
    with pytest.raises(TooManyStatesError, match="by the clock"):
        by_the_clock(search(made), most=3)
