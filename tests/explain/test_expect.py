"""What should show at a stage: true to the document, ordered without loops, and empty once everything is done.

Facts of the trade asserted here are common practice, no source, unless a source stands beside them.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from types import MappingProxyType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.demo import text as demo_text
from loopwright.demo.synthetic import synthetic
from loopwright.explain.expected.expect import Expectation, Shown, compare, expect
from loopwright.explain.expected.situation import ORDER, Situation, Step, situation_of, steps_of
from loopwright.explain.expected.trouble import TroubleKind, lore
from loopwright.job.document import EndResistor, Job, Stage
from loopwright.job.read import read
from loopwright.job.sheet import ChargerKind, Topology
from loopwright.power.charge import Charger, recharge
from loopwright.values.source import sources
from often import often

POWERED = [stage for stage in Stage if Step.MAINS in steps_of(stage)]


@cache
def demo(name: str) -> Appraisal:
    text = synthetic(40, 3) if name == "synthetic" else demo_text(name)
    return appraise(read(text).job)


def seen(found: Appraisal, situation: Situation) -> Expectation:
    return expect(found.job, situation, power=found.power, circuits=found.circuits, watches=found.watches, standby=found.standby)


def at(stage: Stage, **kwargs: object) -> Situation:
    return Situation(stage=stage, **kwargs)  # type: ignore[arg-type]


def kinds(expectation: Expectation) -> set[TroubleKind]:
    return {trouble.kind for trouble in expectation.troubles}


def places(job: Job) -> list[str]:
    outputs = [f"{unit}.{output}" for unit in job.equipment for output in job.sheet_of(unit).outputs]
    return ["", *job.equipment, *job.circuits, *job.signalling.paths, *outputs]


@st.composite
def situations(draw: st.DrawFn, job: Job) -> Situation:
    said = draw(st.dictionaries(st.tuples(st.sampled_from(ORDER), st.sampled_from(places(job))), st.booleans(), max_size=25))
    return Situation(
        stage=draw(st.sampled_from(list(Stage))),
        said=MappingProxyType(said),
        since_mains_s=draw(st.none() | st.floats(0, 300)),
        charge=MappingProxyType(draw(st.dictionaries(st.sampled_from(list(job.equipment)), st.floats(0, 1), max_size=3))),
    )


@pytest.mark.parametrize("name", ["business", "dwelling", "synthetic"])
@given(data=st.data())
@settings(max_examples=often(25))
def test_taking_the_next_step_each_time_ends_without_going_in_circles(name: str, data: st.DataObject) -> None:
    found = demo(name)
    situation = data.draw(situations(found.job))
    taken: list[Step] = []
    while (step := seen(found, situation).next_step) is not None:
        assert step not in taken
        taken.append(step)
        situation = situation.with_step(step)
        assert not seen(found, situation).cleared_by(step)
    left = seen(found, situation).troubles
    assert all(trouble.defect or trouble.wait_s is not None for trouble in left)


@pytest.mark.parametrize("name", ["business", "dwelling", "synthetic"])
def test_with_everything_done_a_sound_system_shows_nothing(name: str) -> None:
    found = demo(name)
    left = seen(found, at(Stage.IN_SERVICE)).troubles
    wrong = {f"circuits/{item.circuit}" for item in found.circuits if not item.rest.right}
    assert {trouble.place for trouble in left if trouble.place.startswith("circuits/")} <= wrong
    assert all(trouble.defect for trouble in left)


@given(data=st.data())
@settings(max_examples=often(25))
def test_every_trouble_says_how_it_ends(data: st.DataObject) -> None:
    found = demo("business")
    for trouble in seen(found, data.draw(situations(found.job))).troubles:
        ways = (trouble.step is not None, trouble.wait_s is not None, trouble.defect)
        assert any(ways) and not (trouble.defect and trouble.normal)
        assert trouble.sentence.endswith(".")


@given(data=st.data())
@settings(max_examples=often(25))
def test_what_shows_is_what_is_expected_unexpected_or_missing(data: st.DataObject) -> None:
    found = demo("dwelling")
    expectation = seen(found, data.draw(situations(found.job)))
    pool = [Shown(kind=trouble.kind, place=trouble.place) for trouble in expectation.troubles]
    shown = data.draw(st.lists(st.sampled_from(pool), unique=True) if pool else st.just([]))
    shown += data.draw(st.lists(st.builds(Shown, kind=st.sampled_from(TroubleKind), place=st.just("equipment/nobody")), max_size=3))
    split = compare(expectation, shown)
    met = {(trouble.kind, trouble.place) for trouble in split.expected}
    assert all(((each.kind, each.place) in met) is (each not in split.unexpected) for each in shown)
    assert set(split.missing) == {trouble for trouble in expectation.troubles if trouble.sure} - set(split.expected)
    assert {each for each, _ in split.stale} <= set(split.unexpected)


def test_each_kind_has_its_lore_and_a_registered_source() -> None:
    assert set(lore()) == set(TroubleKind)
    for known in lore().values():
        assert known.source in sources()
        assert known.why and known.clears and known.never.startswith("Do not ")


def test_before_any_supply_nothing_is_lit() -> None:
    assert kinds(seen(demo("business"), at(Stage.FIRST_FIX))) == {TroubleKind.DARK}


def test_first_power_up_shows_what_every_new_system_shows() -> None:
    """Clock, battery, siren circuit, path, enrolment and lids: normal on the first day (common practice, no source)."""
    expectation = seen(demo("business"), at(Stage.POWER_UP))
    assert {
        TroubleKind.CLOCK_NOT_SET, TroubleKind.BATTERY_MISSING, TroubleKind.SOUNDER_CIRCUIT, TroubleKind.PATH,
        TroubleKind.MODULE_UNKNOWN, TroubleKind.LID_OPEN, TroubleKind.ZONE_OPEN, TroubleKind.FACTORY_CODES,
    } <= kinds(expectation)  # fmt: skip
    assert all(trouble.normal for trouble in expectation.troubles)


def test_the_same_trouble_is_normal_at_one_stage_and_a_defect_at_another() -> None:
    found = demo("business")
    gone = MappingProxyType({(Step.BATTERY, "control"): False})
    for stage, normal in ((Stage.POWER_UP, True), (Stage.IN_SERVICE, False)):
        [trouble] = [
            each
            for each in seen(found, at(stage, said=gone)).troubles
            if each.kind is TroubleKind.BATTERY_MISSING and each.place == "equipment/control"
        ]
        assert trouble.normal is normal


def test_the_resistor_across_an_unused_siren_output_clears_its_trouble() -> None:
    """1 kΩ across an output that is not used clears its trouble: common practice, no source."""
    found = demo("dwelling")
    job = found.job
    bare = next(item.circuit for item in found.watches if not item.network.landed and not item.rest.right)
    unit, _, output = bare.partition(".")
    shows = f"Output {output} of "
    assert any(each.sentence.startswith(shows) and each.defect for each in seen(found, at(Stage.IN_SERVICE)).troubles)
    fitted = replace(job.equipment[unit], end_resistors={**job.equipment[unit].end_resistors, output: EndResistor(ohm=1000.0)})
    ended = appraise(replace(job, equipment={**job.equipment, unit: fitted}))
    assert not any(each.sentence.startswith(shows) for each in seen(ended, at(Stage.IN_SERVICE)).troubles)


def test_line_supervision_with_no_line_is_told_and_goes_by_switching_it_off() -> None:
    """Common practice, no source: a unit that watches a line from the factory shows it missing."""
    job = demo("business").job
    none = replace(job, signalling=replace(job.signalling, paths={}, reports={}))
    found = appraise(none)
    [trouble] = [each for each in seen(found, at(Stage.POWER_UP)).troubles if each.kind is TroubleKind.PATH]
    assert trouble.normal and not trouble.sure and trouble.place == "signalling"
    assert TroubleKind.PATH not in kinds(seen(found, at(Stage.POWER_UP).with_step(Step.PATHS)))


def test_the_clock_is_lost_when_mains_and_battery_have_both_failed() -> None:
    """Common practice, no source: with no supply at all there is no lamp either; once mains is back the clock wants setting."""
    found = demo("business")
    both = at(Stage.IN_SERVICE).with_step(Step.MAINS, done=False).with_step(Step.BATTERY, done=False)
    assert kinds(seen(found, both)) == {TroubleKind.DARK}
    back = at(Stage.IN_SERVICE).with_step(Step.CLOCK, done=False)
    [clock] = [each for each in seen(found, back).troubles if each.kind is TroubleKind.CLOCK_NOT_SET]
    assert clock.step is Step.CLOCK and not clock.normal


def test_a_flat_battery_holds_its_trouble_up_for_about_two_days_at_most() -> None:
    """Give a flat battery about two days: common practice, no source. The shortest time is held against the step-by-step recharge."""
    found = demo("business")
    item = next(each for each in found.standby if each.supply == "control")
    flat = seen(found, at(Stage.IN_SERVICE, charge=MappingProxyType({"control": 0.05})))
    [low] = [each for each in flat.troubles if each.kind is TroubleKind.BATTERY_LOW]
    assert low.normal and low.wait_s is not None
    shortest_h, longest_h = (seconds / 3600 for seconds in low.wait_s)
    assert longest_h >= 48 > shortest_h > 0
    supply = found.job.sheet_of("control").supply
    assert supply is not None and supply.restore_v is not None and supply.charger.limit_a is not None
    charger = Charger(kind=ChargerKind.CURRENT_LIMITED, charge_v=supply.charger.float_v, limit_a=supply.charger.limit_a)
    whole = recharge(charger, capacity_ah=item.fitted_ah, spare_a=item.charge_a, internal_ohm=0.022, from_charge=0.05)
    wanted = item.kinetic.head_at_emf(supply.restore_v)
    assert shortest_h <= whole.to_80_pct_h * (wanted - 0.05) / 0.75 + 1e-6
    assert TroubleKind.BATTERY_LOW not in kinds(seen(found, at(Stage.IN_SERVICE, charge=MappingProxyType({"control": 1.0}))))


def test_a_battery_nobody_charges_does_not_come_back_by_waiting() -> None:
    job = demo("business").job
    sheet = job.sheets.equipment["oq-c32"]
    assert sheet.supply is not None
    weak = replace(sheet, supply=replace(sheet.supply, limit_a=0.2))
    found = appraise(replace(job, sheets=replace(job.sheets, equipment={**job.sheets.equipment, "oq-c32": weak})))
    flat = seen(found, at(Stage.IN_SERVICE, charge=MappingProxyType({"control": 0.05})))
    [low] = [each for each in flat.troubles if each.kind is TroubleKind.BATTERY_LOW]
    assert low.defect and low.wait_s is None and not low.normal


def test_detectors_warm_up_and_the_wait_counts_down() -> None:
    """Half a minute to about three minutes after power (shared register value DET-019, seen)."""
    found = demo("business")
    slow = [seen(found, at(Stage.IN_SERVICE, since_mains_s=seconds)) for seconds in (0.0, 100.0, 121.0)]
    counts = [sum(1 for each in expectation.troubles if each.kind is TroubleKind.WARMING_UP) for expectation in slow]
    assert counts[0] > counts[1] > counts[2] == 0
    assert {each.wait_s for each in slow[1].troubles} == {(20.0, 20.0)}


def test_an_input_still_set_for_another_kind_of_circuit_shows_what_its_bands_say() -> None:
    """The ohms of the circuit as designed, read with the bands of the factory's kind: computed, not typed in."""
    found = demo("business")
    before = at(Stage.PROVED).with_step(Step.INPUTS, done=False)
    job = found.job
    sheet = job.sheets.equipment["oq-c32"]
    settings = {**sheet.settings, "circuits": replace(sheet.settings["circuits"], default="none, normally closed")}
    other = appraise(
        replace(job, sheets=replace(job.sheets, equipment={**job.sheets.equipment, "oq-c32": replace(sheet, settings=settings)}))
    )
    shown = {each.place: each for each in seen(other, before).troubles}
    double = next(item for item in other.circuits if other.job.circuits[item.circuit].topology is Topology.DOUBLE and item.rest.right)
    # 2.7 kΩ in a band table whose "open" begins at 2 kΩ.
    assert shown[f"circuits/{double.circuit}"].kind is TroubleKind.ZONE_OPEN
    assert "‘none’" in shown[f"circuits/{double.circuit}"].sentence
    assert not [each for each in seen(found, before).troubles if each.place == f"circuits/{double.circuit}"], "2.7 kΩ rests in both"


def test_a_module_not_on_the_list_hides_its_circuits() -> None:
    found = demo("business")
    hidden = at(Stage.POWER_UP)
    shown = {each.place for each in seen(found, hidden).troubles}
    behind = {f"circuits/{name}" for name, circuit in found.job.circuits.items() if (circuit.input or "").startswith("expander.")}
    assert behind and not behind & shown
    assert behind & {each.place for each in seen(found, hidden.with_step(Step.BUS)).troubles}


def test_a_dead_second_supply_takes_its_modules_along() -> None:
    found = demo("business")
    fed = {landing.equipment for landing in found.power.network.landings if landing.supply == "supply-2"}
    addressed = {name for name in fed if found.job.sheet_of(name).addressed}
    said = {(step, "supply-2"): False for step in (Step.MAINS, Step.BATTERY)}
    shown = seen(found, at(Stage.IN_SERVICE, said=MappingProxyType(said)))
    assert TroubleKind.DARK in kinds(shown)
    missing = {each.place for each in shown.troubles if each.kind is TroubleKind.MODULE_MISSING}
    assert missing == {f"equipment/{name}" for name in addressed}


def test_the_document_says_where_the_stage_does_not_hold() -> None:
    job = demo("business").job
    one = replace(job, equipment={**job.equipment, "keypad-press": replace(job.equipment["keypad-press"], enrolled="no")})
    situation = situation_of(one)
    assert not situation.done(Step.BUS, "keypad-press") and situation.done(Step.BUS, "keypad-office")


def test_the_step_of_every_trouble_done_at_its_place_clears_it_and_ends_with_nothing() -> None:
    """Going from trouble to trouble, each put right where it stands, comes to an end with nothing left."""
    found = demo("business")
    now, steps = at(Stage.DESIGN), 0
    while (troubles := [each for each in seen(found, now).troubles if each.step is not None]) and steps < 500:
        first = troubles[0]
        assert first.step is not None
        now, steps = now.with_step(first.step, first.at), steps + 1
        assert first not in seen(found, now).troubles
    assert not seen(found, now).troubles and steps > 50
