"""Lock-out that ends when a zone was quiet for a time: whoever is locked out comes back, exactly then, and nothing else changes."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from loopwright.programme.unprotected import unprotected
from loopwright.rehearse.plan import Programme
from loopwright.rehearse.sandbox import play
from loopwright.rehearse.search import search
from loopwright.rehearse.state import Event, State, begin, fields, tick_s
from loopwright.rehearse.step import TICK, due, events, step
from often import often
from rehearse.drawn import programme
from rehearse.test_promises import broken, good
from rehearse.test_sounding import under

QUIET_S = 20.0


def drawn(seed: int) -> Programme:
    random = Random(seed)
    made = programme(random, followed=1, rest=random.randint(0, 1))
    return replace(made, told=replace(made.told, trips=random.randint(1, 2), trips_quiet_s=QUIET_S))


def locked_out(made: Programme) -> list[State]:
    """Return every state that is reached in which the zone that is followed is locked out."""
    reached = search(made)
    if "z0.trips" not in fields(made):
        return []
    number = reached.states[reached.field("z0.trips") == made.told.trips]
    return [begin(made) | reached.table.packing.unpack(int(each)) for each in number]


@pytest.mark.parametrize("seed", range(often(20)))
def test_a_zone_that_is_locked_out_comes_back_by_itself_when_it_was_quiet_for_its_time(seed: int) -> None:
    """Nobody does anything: only time goes by, and what is at its end ends."""
    made = drawn(seed)
    for start in locked_out(made)[:40]:
        state, ticks = start, 0
        while state["z0.trips"] == made.told.trips:
            ends = [each for each in events(made) if each.kind.endswith("end") or each.kind.endswith("ends")]
            ended = [done for each in ends if due(made, state) and (done := step(made, state, each)) is not None]
            after = ended[0] if ended else step(made, state, TICK)
            assert after is not None, state
            state, ticks = after[0], ticks + (not ended)
            assert ticks * tick_s(made) <= QUIET_S
        assert state["z0.trips"] == 0


@pytest.mark.parametrize("seed", range(often(10)))
def test_it_is_the_same_programme_otherwise(seed: int) -> None:
    """What can be reached without a quiet time can be reached with one: it may never come about."""
    made = drawn(100 + seed)
    without = replace(made, told=replace(made.told, trips_quiet_s=0.0))
    found, plain = (set(search(each).states.tolist()) for each in (made, without))
    assert plain <= found


def test_each_activation_begins_the_time_anew_also_while_it_is_locked_out() -> None:
    """A detector alarms twice, is locked out, is activated again after 50 s, and alarms again a minute after that."""
    job = good(lock_out_trips=2, lock_out_quiet_s=60.0)
    acts = ["set|house|the owner|0|", "wait|60", "activated|z07|||", "activated|z07|||"]
    acts = [each.replace("|||", "||0|") for each in acts]
    again = "activated|z07||0|"

    def last(*more: str) -> str:
        return play(job, [*acts, *more]).log[-1].follows[0]

    assert "locked out" in last("wait|50", again) and "locked out" in last("wait|50", again, "wait|50", again)
    assert "alarm in House" in last("wait|50", again, "wait|60", again)
    log = play(job, [*acts, "wait|60"]).log[-1]
    assert log.words == "zone 7 (Family room motion) was quiet for its time" and log.at_s == 120
    assert Event("quiet-ends", "z07") not in [event for event, _ in play(job, acts).possible()]


def test_nothing_bounds_the_sounders_where_a_quiet_zone_alarms_again() -> None:
    """Two alarms of each of eleven zones and an exit error are 24 soundings of 4 min: a zone quiet for a day comes back after all of it."""
    job = under(good(lock_out_trips=2, lock_out_quiet_s=86_400.0), also=("uk-sounding",))
    found = broken(job)
    assert "any number of times in one set period" in found["sounds areas/house#in-all"].sentence
    assert "5760 s in one go" in found["sounds areas/house#in-one-go"].sentence
    soon = broken(under(good(lock_out_trips=2, lock_out_quiet_s=3_600.0), also=("uk-sounding",)))
    assert "any number of times in one go" in soon["sounds areas/house#in-one-go"].sentence


def test_what_is_not_watched_says_that_a_quiet_zone_comes_back() -> None:
    told = unprotected(good(lock_out_trips=2, lock_out_quiet_s=7_200.0))
    assert told[0].ends == "when the area is unset, or when the zone was quiet for 2 h"
