"""What is found at a unit, taken over: the document then says what the unit holds, whatever it was, and one step back is all as before."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright import demo
from loopwright.job.edit import apply
from loopwright.job.read import read
from loopwright.keying.entry import fields_of
from loopwright.keying.form import Form, Kind, Unfit
from loopwright.keying.found import Reading, found_at, readings_in
from loopwright.keying.plan import plan_of
from loopwright.keying.spot import spots_of
from loopwright.keying.taken import taken_over
from often import often

DWELLING = demo.text("dwelling")
JOB = read(DWELLING).job
SHEETS = DWELLING[DWELLING.index("\nsheets:") : DWELLING.index("\nequipment:")]
UNKNOWN = (
    "format: 1\ntitle: Unknown\npremises: {name: Unknown}\nregion: {country: US, ruleset: na-household}"
    f"{SHEETS}\nequipment: {{panel: {{sheet: dm-12}}}}\n"
)
"""The unit of the example in a house of which nothing is known yet."""
FIELDS = {field.address: field for field in fields_of(spots_of(JOB, "panel", every_row=True)) if not field.by_hand()}


def shown_by(form: Form) -> st.SearchStrategy[str]:
    """Draw what a unit may show where a setting stands: something its form takes."""
    if form.kind is Kind.NUMBER:
        low, high = int(form.least or 0), int(form.most or 9)
        steps = st.integers(0, int((high - low) // form.step))
        return steps.map(lambda n: form.keyed((low + n * form.step) * form.unit_s))
    if form.kind is Kind.TEXT:
        return st.sampled_from(["CELLAR", "ATTIC WEST", "DOOR 2", "O'HARA"])
    return st.sampled_from(sorted(form.options.values()))


@st.composite
def readings(draw: st.DrawFn) -> list[Reading]:
    addresses = draw(st.lists(st.sampled_from(sorted(FIELDS)), min_size=1, max_size=8, unique=True))
    shown = ["".join(draw(shown_by(spot.form)) for spot in FIELDS[address].spots) for address in addresses]
    return [Reading(number, address, text) for number, (address, text) in enumerate(zip(addresses, shown, strict=True), 1)]


@pytest.mark.parametrize("text", [DWELLING, UNKNOWN], ids=["known", "unknown"])
@given(seen=readings())
@settings(max_examples=often(8), deadline=None)
def test_what_was_taken_over_differs_no_longer_and_one_step_back_is_as_before(text: str, seen: list[Reading]) -> None:
    job = read(text).job
    found = found_at(job, "panel", seen)
    assert not found.problems
    taken = taken_over(job, found)
    edited = apply(text, taken.edit)
    after = read(edited.text).job
    left = {(each.row.address, each.row.value) for each in taken.left}
    assert {(row.address, row.value) for row in found_at(after, "panel", seen).differences} <= left
    assert not taken_over(after, found_at(after, "panel", seen)).rows
    assert apply(edited.text, edited.inverse).text == text


def test_of_an_unknown_unit_the_whole_programme_comes_about() -> None:
    """The plan of a known unit keyed into one of which nothing is known, read there and taken over: the same entries."""
    plan = plan_of(JOB, "panel")
    keyed = {entry.address: entry.shows for entry in plan.entries if not entry.by_hand and "Keypads" not in entry.address}
    for field in FIELDS.values():
        if field.address not in keyed and all(spot.rows == () or not spot.rows[0].new for spot in field.spots):
            try:
                keyed[field.address] = field.separator.join(spot.form.keyed(spot.default) for spot in field.spots)
            except Unfit:
                continue
    text = "\n".join(f"{address} = {shown}" for address, shown in keyed.items() if "Keypads" not in address)
    job = read(UNKNOWN).job
    found = found_at(job, "panel", readings_in(text)[0])
    assert not found.problems
    after = read(apply(UNKNOWN, taken_over(job, found).edit).text).job
    again = {entry.address: entry.shows for entry in plan_of(after, "panel").entries if not entry.by_hand}
    assert again == {address: shown for address, shown in keyed.items() if address in again} and len(again) > 15
    assert len(after.zones) == len(JOB.zones) and list(after.areas) == ["area-1"] and after.programme.part_sets == ("stay",)
    assert {zone.areas for zone in after.zones.values()} == {("area-1",)}


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("page Zones, leaf 3, line Wired = free", "take it out there"),
        ("page Keypads, line 1 = empty", "take it out there"),
        ("page Zones, leaf 12, line Name = ZONE 12", "as delivered"),
    ],
)
def test_what_is_not_taken_over_is_told_with_why(line: str, why: str) -> None:
    taken = taken_over(JOB, found_at(JOB, "panel", readings_in(line)[0]))
    assert not taken.rows and why in taken.left[0].why
