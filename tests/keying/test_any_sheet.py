"""Whatever a sheet says, a plan is made and findings tell what is wrong; rows by zone, user and area; lists; set states in one word."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright import demo
from loopwright.job.document import Job
from loopwright.job.read import read
from loopwright.job.sheet import KeyingSheet, Setting
from loopwright.keying.check import contradictions, misfits_of
from loopwright.keying.found import found_at, readings_in
from loopwright.keying.plan import plan_of
from often import often

JOB = read(demo.text("dwelling")).job
PLACES = (
    "", "clock", "codes/user/*", "codes/installer", "codes/owner/x", "areas/*/entry_s", "areas/*/name", "areas/*/common_to", "zones/*",
    "zones/*/response", "zones/*/response/full", "zones/*/areas", "users/*/areas/*", "users/*", "equipment/*", "equipment/*/address",
    "programme/exit_restart", "programme/part_sets", "programme/sounder_s", "programme/nothing", "outputs/*/follows",
    "signalling/reports/*",
    "signalling/paths/*/kind", "sheets/*", "*", "*/*", "zones/z01/number", "premises/name", "programme", "areas/*", "areas", "/", "a//b",
)  # fmt: skip
ADDRESSES = (
    "",
    ",",
    "page, line",
    "{zone}",
    "page {zone}, line",
    "{user}, {area}",
    "{area}",
    "{device}",
    "{path} x",
    "{output}",
    "page",
    "{}",
    "{other}",
)

DEFAULTS = ("", "30 s", "no", "none", "house", "{zone}", "4711", "x, y", "1e300")
WORDS = ("yes", "no", "none", "house", "final-exit", "both")


def unit_with(rows: dict[str, Setting], keying: KeyingSheet | None = None) -> Job:
    """Return the example dwelling with other settings in the sheet of its unit."""
    sheet = replace(JOB.sheets.equipment["dm-12"], settings=MappingProxyType(rows), keying=keying)
    sheets = replace(JOB.sheets, equipment={**JOB.sheets.equipment, "dm-12": sheet})
    return replace(JOB, sheets=sheets)


numbers = st.none() | st.sampled_from([0.0, 0.5, 1.0, 7.0, 300.0])
drawn_settings = st.builds(
    Setting, address=st.sampled_from(ADDRESSES), default=st.sampled_from(DEFAULTS),
    of=st.sampled_from(PLACES), place=st.none() | st.integers(1, 3), unit=st.none() | st.sampled_from(["s", "min", "h"]),
    digits=st.none() | st.integers(1, 3), least=numbers, most=numbers, step=numbers,
    choices=st.dictionaries(st.sampled_from(WORDS), st.sampled_from(["", "1", "12", "A", "a"])),
    longest=st.none() | st.integers(1, 5), characters=st.sampled_from(["", "A-Z", "Z-A", "a-", "blank", "0-9 -"]),
    up_to=st.none() | st.integers(1, 3), after=st.lists(st.sampled_from(["s0", "s1", "gone"]), max_size=2).map(tuple),
    turn=st.none() | st.sampled_from(["first", "last"]), kept=st.booleans(),
)  # fmt: skip


@given(st.lists(drawn_settings, min_size=1, max_size=4), st.text(max_size=12))
@settings(max_examples=often(60), deadline=None)
def test_no_sheet_is_too_odd_to_be_told_about(drawn: list[Setting], shown: str) -> None:
    job = unit_with({f"s{number}": each for number, each in enumerate(drawn)}, KeyingSheet(restore="all new"))
    plan, told = plan_of(job, "panel"), [*contradictions(job), *misfits_of(job)]
    assert len({entry.address.casefold() for entry in plan.entries}) == len(plan.entries)
    assert all(each.sentence and each.remedy for each in told)
    found = found_at(job, "panel", readings_in("\n".join(f"{each.address} = {shown}" for each in drawn))[0])
    assert (plan_of(job, "panel", found.values).presses or 0) >= 0


def entered(**row: Any) -> dict[str, str]:
    """Return what is keyed at each address for one setting in the sheet."""
    row = {"address": "line", "default": "-", **row}
    return {entry.address: entry.keys for entry in plan_of(unit_with({"s": Setting(**row)}), "panel").entries}


@pytest.mark.parametrize(
    ("row", "keys"),
    [
        (
            {"of": "users/*/areas/*", "address": "man {user}, part {area}", "choices": {"both": "2", "none": "0", "-": "9"}},
            {"man 1, part 1": "2", "man 2, part 1": "2", "man 3, part 1": "0"},
        ),
        (
            {"of": "zones/*/areas", "address": "leaf {zone}", "default": "none", "up_to": 12, "choices": {"house": "1", "none": "0"}},
            {"leaf 3": "1"},
        ),
        (
            {"of": "zones/*/response", "address": "leaf {zone}", "choices": {"chime_final-exit_final-exit": "way in", "-": "off"}},
            {"leaf 1": "way in", "leaf 2": "way in"},
        ),
        ({"of": "areas/house/exit_s", "default": "2 min", "unit": "min", "digits": 2}, {"line": "01"}),
        ({"of": "equipment/*", "address": "pad {device}", "default": "no", "up_to": 3}, {"pad 1": "yes", "pad 2": "yes"}),
    ],
)
def test_rows_lists_and_several_set_states(row: dict[str, Any], keys: dict[str, str]) -> None:
    assert keys.items() <= entered(**row).items()


def test_waits_hold_row_by_row_and_between_rows_of_different_kinds() -> None:
    rows = {
        "name": Setting(address="names, leaf {zone}", default="-", of="zones/*/text", after=("used",)),
        "used": Setting(address="used, leaf {zone}", default="no", of="zones/*", after=("pads",), up_to=12),
        "pads": Setting(address="zzz, pad {device}", default="no", of="equipment/*"),
    }
    order = [entry.address for entry in plan_of(unit_with(rows), "panel").entries]
    assert order.index("names, leaf 3") > order.index("used, leaf 3") > order.index("zzz, pad 2")
    assert plan_of(unit_with(rows), "panel").proved
