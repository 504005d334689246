"""Old pairs: the wiring that made the readings is found among the guesses, and no plan with fewer swaps exists."""

from __future__ import annotations

import math
from functools import cache
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright import demo
from loopwright.circuits.forecast import band_table
from loopwright.circuits.preferred import Series, series_values
from loopwright.explain.old.pair import Guess, OldPair, PairState, guesses
from loopwright.explain.old.take_over import take_over
from loopwright.job.read import read
from loopwright.job.sheet import InputsSheet, Reads, ResistorSet, Topology
from often import often

E12 = [
    float(f"{figures}e{power}")
    for power in (1, 2, 3)
    for figures in series_values(Series.E12)
    if 470 <= float(f"{figures}e{power}") <= 22e3
]
OL = math.inf
PLAIN = (Topology.NONE, Topology.SINGLE, Topology.DOUBLE, Topology.TRIPLE)


def readings(topology: Topology, resistors: ResistorSet, cable: float, noise: list[float]) -> dict[PairState, float]:
    """Return what a meter reads on a sound pair, worked out by hand for each kind: resistors in series, the lid opening the pair."""
    end, alarm, fault = resistors.end_ohm or 0.0, resistors.alarm_ohm, resistors.fault_ohm
    true = {
        PairState.REST: cable + end,
        PairState.ACTIVE: OL if alarm is None else cable + end + alarm,
        PairState.LID_OPEN: OL,
        PairState.SHORTED: cable,
    }
    if fault is not None:
        true[PairState.FAULT] = cable + end + fault
    return {
        state: ohm if math.isinf(ohm) else max(ohm * (1 + 0.008 * shift) + 3 * shift, 0.0)
        for (state, ohm), shift in zip(true.items(), noise, strict=False)
    }


@st.composite
def old_pairs(draw: st.DrawFn) -> tuple[OldPair, Topology, ResistorSet]:
    topology = draw(st.sampled_from(PLAIN))
    many = PLAIN.index(topology)
    printed = [draw(st.sampled_from(E12)) for _ in range(many)] + [None] * (3 - many)
    fitted = [None if ohm is None else ohm * (1 + 0.05 * draw(st.floats(-0.95, 0.95))) for ohm in printed]
    noise = draw(st.lists(st.floats(-0.95, 0.95), min_size=5, max_size=5))
    ohm = readings(topology, ResistorSet(end_ohm=fitted[0], alarm_ohm=fitted[1], fault_ohm=fitted[2]), draw(st.floats(0, 45)), noise)
    return OldPair(name="p", ohm=ohm), topology, ResistorSet(end_ohm=printed[0], alarm_ohm=printed[1], fault_ohm=printed[2])


@given(old_pairs())
@settings(max_examples=often(60))
def test_the_true_wiring_is_always_among_the_guesses(made: tuple[OldPair, Topology, ResistorSet]) -> None:
    pair, topology, resistors = made
    found = guesses(pair)
    # A fault resistor no larger than the meter's accuracy of the rest reading cannot be told from none.
    assert any(guess.topology is topology and guess.resistors == resistors for guess in found) or (
        topology is Topology.TRIPLE and any(guess.resistors.alarm_ohm == resistors.alarm_ohm for guess in found)
    )


def rest(**kwargs: float) -> OldPair:
    states = {"rest": PairState.REST, "active": PairState.ACTIVE, "lid": PairState.LID_OPEN, "shorted": PairState.SHORTED}
    return OldPair(name="p", ohm={states[key]: value for key, value in kwargs.items()})


@pytest.mark.parametrize(
    ("pair", "topology", "odd"),
    [
        # Rows of the published-in-house five-reading table: 60 m of 0.22 mm², loop 9.4 Ω; its values were computed by a nodal solve.
        (rest(rest=2209, active=OL, lid=OL, shorted=9.4), Topology.SINGLE, ""),
        (rest(rest=2209, active=OL, lid=OL, shorted=2209), Topology.SINGLE, "in the cabinet"),
        (rest(rest=2209, active=OL, lid=2209, shorted=9.4), Topology.SINGLE, "the lid changes nothing"),
        (rest(rest=1009, active=3209, lid=OL, shorted=9.4), Topology.DOUBLE, ""),
        (rest(rest=1009, active=3209, lid=OL, shorted=1009), Topology.DOUBLE, "in the cabinet"),
        (rest(rest=9.4, active=OL, lid=OL, shorted=9.4), Topology.NONE, ""),
    ],
)
def test_rows_of_the_five_reading_table(pair: OldPair, topology: Topology, odd: str) -> None:
    first = guesses(pair)[0]
    assert first.topology is topology
    assert odd in " ".join(first.odd) if odd else not first.odd


def test_values_are_those_of_the_table() -> None:
    assert guesses(rest(rest=1009, active=3209, lid=OL, shorted=9.4))[0].resistors == ResistorSet(end_ohm=1000.0, alarm_ohm=2200.0)


def test_what_was_not_tried_is_said_to_be_assumed() -> None:
    first = guesses(rest(rest=2209))[0]
    assert len(first.assumed) == 2 and first.topology is Topology.SINGLE
    assert not guesses(rest(rest=2209, active=OL, lid=OL, shorted=9.4))[0].assumed


def test_readings_no_wiring_explains_are_said_to_be_so() -> None:
    found = take_over([rest(rest=2209, active=OL, shorted=740)], inputs())
    assert found.unexplained == ("p",) and not found.groups


@pytest.mark.parametrize("ohm", [-5.0, math.nan])
def test_a_reading_no_meter_shows_is_refused(ohm: float) -> None:
    with pytest.raises(ValueError, match="is no reading"):
        OldPair(name="p", ohm={PairState.REST: ohm})
    with pytest.raises(ValueError, match="at rest first"):
        OldPair(name="p", ohm={PairState.ACTIVE: 100.0})


@cache
def inputs() -> InputsSheet:
    found = read(demo.text("business")).job.sheets.equipment["oq-c32"].inputs
    assert found is not None
    return found


@given(st.lists(old_pairs(), min_size=1, max_size=6))
@settings(max_examples=often(60))
def test_a_pair_that_stays_reads_right_and_a_swap_is_needed_where_it_does_not(made: list[tuple[OldPair, Topology, ResistorSet]]) -> None:
    pairs = [OldPair(name=f"p{number}", ohm=each[0].ohm) for number, each in enumerate(made)]
    found = take_over(pairs, inputs())
    for plan in found.plans:
        table = band_table(inputs(), plan.topology)
        assert table is not None
        for pair in pairs:
            if pair.name in plan.stay:
                assert table.taken_for(pair.ohm[PairState.REST]) is Reads.REST
                active = table.taken_for(pair.ohm[PairState.ACTIVE])
                assert active in ((Reads.OPEN, Reads.ACTIVE) if plan.topology in (Topology.NONE, Topology.SINGLE) else (Reads.ACTIVE,))
        assert set(plan.stay) | set(plan.swap) | set(plan.left_out) | set(found.unexplained) == {pair.name for pair in pairs}
    assert [plan.swaps for plan in found.plans] == sorted(plan.swaps for plan in found.plans)


@given(st.lists(st.tuples(st.sampled_from([1000.0, 2700.0, 4700.0]), st.sampled_from([None, 2200.0, 6800.0])), min_size=1, max_size=4))
@settings(max_examples=often(40))
def test_no_choice_of_resistors_to_leave_in_place_needs_fewer_swaps(values: list[tuple[float, float | None]]) -> None:
    """Held against trying every choice of resistors to exchange, judged by the bands alone."""
    pairs = []
    for number, (end, alarm) in enumerate(values):
        topology = Topology.SINGLE if alarm is None else Topology.DOUBLE
        ohm = readings(topology, ResistorSet(end_ohm=end, alarm_ohm=alarm), 9.4, [0.0] * 5)
        pairs.append(OldPair(name=f"p{number}", ohm=ohm))
    for plan in take_over(pairs, inputs()).plans:
        if plan.topology is not Topology.DOUBLE:
            continue
        least = sum(_fewest(end, alarm, plan.resistors) for end, alarm in values)
        assert plan.swaps >= least
        # Exchanging the whole set is never asked for where a part of it is there already.
        assert plan.swaps <= sum((end != plan.resistors.end_ohm) + (alarm != plan.resistors.alarm_ohm) for end, alarm in values)


def _fewest(end: float, alarm: float | None, wanted: ResistorSet) -> int:
    table = band_table(inputs(), Topology.DOUBLE)
    assert table is not None
    best = 2
    for new_end, new_alarm in product((False, True), repeat=2):
        e = wanted.end_ohm if new_end else end
        a = wanted.alarm_ohm if new_alarm else alarm
        assert e is not None
        right = table.taken_for(e + 9.4) is Reads.REST and a is not None and table.taken_for(e + a + 9.4) is Reads.ACTIVE
        best = min(best, new_end + new_alarm) if right else best
    return best


def test_pairs_with_one_set_form_one_group() -> None:
    pairs = [
        OldPair(name=name, ohm={PairState.REST: ohm, PairState.ACTIVE: OL, PairState.SHORTED: 9.0})
        for name, ohm in (("hall", 2210.0), ("loft", 2195.0), ("shed", 4730.0))
    ]
    groups = take_over(pairs, inputs()).groups
    assert [group.pairs for group in groups] == [("hall", "loft"), ("shed",)]
    assert groups[0].resistors == ResistorSet(end_ohm=2200.0)


def test_more_pairs_than_inputs_are_left_out_by_name() -> None:
    pairs = [OldPair(name=f"p{n}", ohm={PairState.REST: 2710.0, PairState.ACTIVE: OL, PairState.SHORTED: 9.0}) for n in range(18)]
    assert take_over(pairs, inputs()).plans[0].left_out == ("p16", "p17")
    assert isinstance(take_over(pairs, inputs()).wired["p0"][0], Guess)
