"""Programmes that contradict themselves are findings: whatever areas, zones, users and outputs say, no check raises."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.job.document import Area, Job, LocalLimit, OutputRule, Programme, Region, User, Zone
from loopwright.job.read import read
from loopwright.programme.event import decided
from loopwright.programme.response import KNOWN
from loopwright.programme.route import routes_of
from loopwright.programme.unprotected import unprotected
from loopwright.rules import allowed, contradiction, programme, report, switched, timing, walk
from loopwright.rules.facts import Facts
from loopwright.rules.register import Check
from loopwright.rules.ruleset import further_rulesets, ruleset_of, rulesets

SAMPLE = Path(__file__).parents[1] / "job" / "sample.yaml"
AREAS, ZONES = ("a", "b", "c"), ("z1", "z2", "z3", "z4")
CHECKS: tuple[Check, ...] = tuple(
    check
    for module in (allowed, contradiction, programme, report, switched, timing, walk)
    for name, check in vars(module).items()
    if name.startswith("check_")
)


@cache
def known() -> Appraisal:
    return appraise(read(SAMPLE.read_text(encoding="utf-8")).job)


def some(names: tuple[str, ...]) -> st.SearchStrategy[tuple[str, ...]]:
    return st.lists(st.sampled_from(names), max_size=3, unique=True).map(tuple)


SECONDS = st.one_of(st.none(), st.sampled_from([0.0, 0.1, 30.0, 45.0, 1e7]))
STATES = ("unset", "full", "night", "odd")
WORDS = st.sampled_from([*sorted(KNOWN), "instant", "entry", "shrug", ""])


@st.composite
def programmes(draw: st.DrawFn) -> Job:
    """Draw a job whose programme says anything the document lets it say."""
    job = known().job
    devices, rooms = tuple(job.equipment), tuple(room for storey in job.storeys.values() for room in storey.rooms)
    areas = st.builds(
        Area, name=st.just("An area"),
        entry_s=SECONDS, exit_s=SECONDS, common_to=some(AREAS), entry_doors=some(ZONES), walked_past=some(ZONES),
        walk_s=SECONDS, keypad=st.sampled_from([None, *devices]), way=some(rooms), longest_set_h=st.sampled_from([None, 0.0, 400.0]),
    )  # fmt: skip
    zones = st.builds(
        Zone, number=st.integers(0, 3), text=st.just("A zone"), circuit=st.sampled_from([None, *job.circuits]), areas=some(AREAS),
        response=st.dictionaries(st.sampled_from(STATES), WORDS),
    )  # fmt: skip
    right = st.sampled_from(["set", "unset", "both", "none"])
    users = st.builds(
        User, role=st.just("user"), areas=st.dictionaries(st.sampled_from(AREAS), right), duress=st.booleans(), walk_s=SECONDS
    )  # fmt: skip
    rules = st.builds(
        OutputRule, terminal=st.sampled_from(["control.aux", "control.siren"]), follows=st.sampled_from(["alarm", "", "moon", "Tamper"]),
        duration_s=SECONDS, how=st.sampled_from(["follow", "pulse", "latch", "timed"]), rest=st.sampled_from(["off", "on"]),
        load_a=st.sampled_from([None, 0.0, 99.0]), load_v=st.sampled_from([None, 0.0, 48.0]),
    )  # fmt: skip
    told = st.builds(
        Programme, part_sets=st.sampled_from([(), ("night",), ("night", "odd", "night")]), sounder_s=SECONDS, abort_s=SECONDS,
        cancel_s=SECONDS, confirm_s=SECONDS, blind_s=SECONDS, settle_s=SECONDS, entry_alarm_s=SECONDS, lock_out_trips=st.integers(0, 9),
        lock_out_quiet_s=SECONDS, soundings=st.integers(0, 9), unconfirmed=st.sampled_from(["watched", "inhibited"]),
        set_by=st.sampled_from(["timed", "final-door", "key-switch"]), lock_out_reset=st.sampled_from(["unset", "set", "midnight"]),
        override_open=st.booleans(), exit_restart=st.booleans(), tamper_reset=st.sampled_from(["user", "engineer", "remote"]),
        prevents=st.dictionaries(st.sampled_from(["open", "tamper", "moon"]), st.sampled_from(["ignored", "user", "engineer", "never"])),
        sounds=st.dictionaries(st.sampled_from(["tamper-unset", "moon"]), st.sampled_from(["external", "internal", "silent"])),
    )  # fmt: skip
    law = st.builds(LocalLimit, least_s=SECONDS, most_s=SECONDS, law=st.just("A law of 2020"))
    region = Region(
        country="GB", ruleset=draw(st.sampled_from([*rulesets(), "moon"])), also=draw(some(tuple(further_rulesets()))),
        local_law=draw(st.dictionaries(st.sampled_from(["entry_s", "sounder_s", "confirm_s"]), law)),
    )  # fmt: skip
    reports = st.dictionaries(st.sampled_from(["alarm", "duress", "hold-up"]), st.sampled_from(["yes", "no", "local"]))
    return replace(
        job, region=region, programme=draw(told),
        areas=draw(st.fixed_dictionaries(dict.fromkeys(AREAS, areas))), zones=draw(st.fixed_dictionaries(dict.fromkeys(ZONES, zones))),
        users=draw(st.dictionaries(st.sampled_from(["u", "v"]), users)), outputs=draw(st.dictionaries(st.sampled_from(["x", "y"]), rules)),
        signalling=replace(job.signalling, reports=draw(reports)),
    )  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(programmes())
def test_whatever_a_programme_says_is_told_and_never_raises(job: Job) -> None:
    whole = known()
    facts = Facts(
        job=job, ruleset=ruleset_of(job), power=whole.power, standby=whole.standby, circuits=whole.circuits, watches=whole.watches
    )
    for check in CHECKS:
        for finding in check(facts):
            assert finding.sentence.endswith(".") and finding.subject
    for route in routes_of(job):
        assert len(route.begins) == len(route.states) and all(len(each.does) == len(route.states) for each in route.passed)
    assert all(each.most_s is not None or each.unknown for each in unprotected(job))
    assert set(job.signalling.reports) <= set(decided(job))
