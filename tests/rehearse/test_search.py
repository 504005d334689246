"""The table against the plain step, and the search against one that visits states one by one."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright import demo
from loopwright.job.document import Job
from loopwright.job.read import read
from loopwright.rehearse.plan import AreaPlan, Follows, Response
from loopwright.rehearse.promise import rehearse
from loopwright.rehearse.search import search
from loopwright.rehearse.step import State, events, step
from loopwright.rehearse.table import Packing, table_of
from often import often

FOLLOWS = st.builds(Follows, does=st.tuples(*[st.sampled_from(list(Response))] * 3), contact=st.booleans())
FLAGS = ("may_set", "may_unset", "final_door", "exit_restart", "exit_fails", "falls_to_part", "exit_stops", "override")
PLANS = st.builds(
    AreaPlan,
    states=st.just(("full", "part")),
    entry=st.integers(0, 3),
    exit=st.integers(0, 3),
    zone=FOLLOWS,
    rest=st.lists(FOLLOWS, max_size=2).map(tuple),
    trips=st.integers(0, 2),
    **{name: st.booleans() for name in FLAGS},
)


def one_by_one(plan: AreaPlan) -> dict[State, int]:
    depth, waiting = {State(): 0}, [State()]
    for state in waiting:
        for event in events(plan):
            after = step(plan, state, event)
            if after is not None and after[0] not in depth:
                depth[after[0]] = depth[state] + 1
                waiting.append(after[0])
    return depth


@settings(max_examples=often(40), deadline=None)
@given(PLANS)
def test_the_table_reaches_what_the_step_reaches_in_as_many_events(plan: AreaPlan) -> None:
    packing = Packing(plan)
    reached = search(table_of(plan, packing))
    found = {packing.unpack(int(each)): depth for depth, layer in enumerate(reached.layers) for each in layer}
    assert found == one_by_one(plan)
    last = reached.layers[-1][0]
    state = State()
    for row, after in reached.way_to(int(last)):
        taken = step(plan, state, row.event)
        assert taken is not None and taken == (packing.unpack(after), row.outputs)
        state = taken[0]
    assert state == packing.unpack(int(last))


def job(name: str = "dwelling", **changes: str) -> Job:
    text = demo.text(name)
    for old, new in changes.values():
        assert old in text
        text = text.replace(old, new)
    return read(text).job


def watched(made: Job, **expected: str) -> Job:
    return replace(made, zones={name: replace(zone, watched=expected.get(name)) for name, zone in made.zones.items()})


def test_a_zone_that_does_nothing_where_an_alarm_is_expected_breaks_the_promise_with_a_story() -> None:
    made = watched(job(), z06="every-set", z07="full", z08="full")
    (broken,) = rehearse(made).broken
    assert broken.subject == "zones/z06/response/stay" and "sees movement" not in broken.sentence
    assert broken.story[0] == "0 s: a user sets stay: exit-begins."
    assert broken.story[1] == "60 s: the time is over: set."
    assert broken.story[-1] == "zone 6 (Living room motion) is activated: nothing happens."


def test_entry_is_an_answer_at_a_declared_door_only() -> None:
    made = watched(job(), z01="full")
    (broken,) = rehearse(made).broken
    assert "no declared entry door" in broken.sentence
    house = replace(made.areas["house"], entry_doors=("z01",))
    assert not rehearse(replace(made, areas={"house": house})).broken


def test_an_area_nobody_may_unset_is_found() -> None:
    made = job()
    users = {name: replace(user, areas={"house": "set"}) for name, user in made.users.items()}
    found = rehearse(replace(made, users=users))
    assert {each.subject for each in found.broken} == {"areas/house#unset"}
    assert found.broken[0].story


def test_the_business_says_what_was_not_covered_and_which_zone_answers_at_any_time_in_part() -> None:
    found = rehearse(job("business"))
    assert [each.subject for each in found.broken] == ["zones/z30/response"]
    assert any("Lobby" in line for line in found.not_covered) and any("late" in line for line in found.not_covered)
