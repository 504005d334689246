"""Upgrades from older formats."""

from __future__ import annotations

import pytest

from loopwright.job.edit import RenameItem, SetField, apply
from loopwright.job.read import read
from loopwright.job.upgrade import upgrade
from loopwright.values.error import JobError

OLD = "# kept\nformat: 0\ntitle: T  # kept too\npremises: {name: P}\nregion: {country: GB}\nareas:\n  a: {name: A}\n"


def step(text: str) -> str:
    """Stand for a format 0 that had no ruleset and another name for an area."""
    text = apply(text, SetField("region/ruleset", "custom")).text
    return apply(text, RenameItem("areas/a", "b")).text


def test_an_older_document_is_led_to_the_present_format() -> None:
    new = upgrade(OLD, {0: step})
    assert new == OLD.replace("format: 0", "format: 1").replace("GB}", "GB, ruleset: custom}").replace("  a: {", "  b: {")
    assert read(new).job.region.ruleset == "custom"


def test_a_present_document_stays_as_it_is() -> None:
    assert upgrade("format: 1\nx: 1\n") == "format: 1\nx: 1\n"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (OLD, "nothing leads from it"),
        ("format: 7\n", "newer than this program"),
        ("format: x\n", "not a whole number"),
        ("a: 1\n", "missing"),
    ],
)
def test_a_format_without_a_way_is_refused(text: str, says: str) -> None:
    with pytest.raises(JobError, match=says):
        upgrade(text)
