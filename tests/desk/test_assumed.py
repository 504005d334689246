"""The design of premises nobody has on file: every combination of facts is a job that stands, and says what is assumed."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright.appraisal.appraise import appraise
from loopwright.desk.assumed import FACTS, assumed_document, facts_of
from loopwright.explain.catalogue import faults
from loopwright.explain.whole.place import SystemPlaces
from loopwright.explain.whole.scope import Scope
from loopwright.job.read import read
from loopwright.values.error import JobError
from loopwright.values.finding import Severity
from often import often

told = st.fixed_dictionaries({}, optional={key: st.sampled_from([word for word, _ in choices]) for key, (_, choices, _) in FACTS.items()})


@settings(max_examples=often(3))
@given(told)
def test_any_facts_make_a_job_that_can_be_read_and_appraised(facts: dict[str, str]) -> None:
    document = assumed_document("Lane 4", facts, year=2026)
    job = read(document).job
    wired = facts.get("wiring", "wired") == "wired"
    assert len(job.zones) == (int(facts.get("zones", "8")) if wired else 0)
    assert len([name for name in job.equipment if name.startswith("keypad")]) == int(facts.get("keypads", "1"))
    assert ("line" in job.signalling.paths) is (facts.get("line") == "yes")
    found = appraise(job)
    assert not [each for each in found.findings if each.severity is Severity.MUST and each.code.startswith(("unlike", "not-fed"))]
    assert found.standby and all(sheet.invented for sheet in job.sheets.equipment.values())


@settings(max_examples=often(8))
@given(told)
def test_every_fact_says_whether_it_was_told(facts: dict[str, str]) -> None:
    found = {fact.key: fact for fact in facts_of(facts | {"zones-of-another": "8"})}
    assert set(found) == set(FACTS)
    assert all(found[key].said is (key in facts) for key in FACTS)
    assert all(found[key].value == facts.get(key, FACTS[key][2]) for key in FACTS)


def test_the_document_marks_what_is_assumed() -> None:
    document = assumed_document("Lane 4", {"battery_ah": "17"}, year=2026)
    (line,) = [line for line in document.splitlines() if line.startswith("  control:")]
    assert "battery: told" in line and "age of the battery: assumed" in line and "2022-01" in line


@pytest.mark.parametrize("name", ["Café: “Zum Löwen” # 4", "a\tb", "- x", "{}", "&a *b", "'"])
def test_premises_of_any_name_are_written_or_refused_in_words(name: str) -> None:
    try:
        assert read(assumed_document(name, {}, year=2026)).job.premises.name.split() == name.split()
    except JobError as error:
        assert str(error)


def test_what_nobody_has_said_bears_no_fault_out() -> None:
    job = read(assumed_document("Lane 4", {}, year=2026)).job
    places = SystemPlaces(job, Scope(faults=(), asks=(), circuits=(), zones=tuple(job.zones)))
    said = {fact for at in ("site", "zone", "unit") for spot in places.spots(at) for fact in spot.facts}
    borne = {fault.bears for fault in faults().values() if fault.bears}
    assert said & borne <= {"no-line"}, "whether there is a line is asked before anything is made of it"
