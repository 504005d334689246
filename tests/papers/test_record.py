"""The circuit and power record, read back with pdftotext."""

from __future__ import annotations

import re
import subprocess
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.job.document import Party, Premises, UnitSystem
from loopwright.job.read import read
from loopwright.papers import PAPERS
from loopwright.papers.record import circuit_and_power_record, contents
from loopwright.power.forecast import label_of

ROOT = Path(__file__).resolve().parents[2]
NOW = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
HOSTILE = ("<script>alert(1)</script>", '#import "x": *', "back\\slash $x^2$ _a_ @b", "κάμερα žluťoučký", "n" * 200)


@cache
def appraisal(name: str) -> Appraisal:
    path = {"cottage": "tests/job/sample.yaml", "business": "src/loopwright/demo/business.yaml"}[name]
    return appraise(read((ROOT / path).read_text(encoding="utf-8")).job)


def words(pdftotext: str, pdf: bytes) -> str:
    """Return the text of a PDF without any space, so that where a line was broken does not matter."""
    found = subprocess.run([pdftotext, "-layout", "-", "-"], input=pdf, capture_output=True, check=True).stdout.decode()
    return closed(found)


def closed(text: str) -> str:
    return re.sub(r"[\s\u200b]+", "", text)


def record(item: Appraisal) -> bytes:
    return circuit_and_power_record(item, revision="0a1b2c3d", now=NOW)


@pytest.fixture(scope="module")
def read_back(pdftotext: str) -> str:
    pdf = record(appraisal("business"))
    plain = subprocess.run([pdftotext, "-raw", "-", "-"], input=pdf, capture_output=True, check=True).stdout.decode()
    return closed(plain)


def test_the_record_names_every_circuit_and_every_device(read_back: str) -> None:
    job = appraisal("business").job
    for name in job.circuits:
        assert f"{name},zone" in read_back or f"{name},nozone" in read_back
    for name in job.equipment:
        assert closed(label_of(job, name)) in read_back


def test_the_record_tells_every_finding_in_its_own_words(read_back: str) -> None:
    assert appraisal("business").findings
    for finding in appraisal("business").findings:
        assert closed(finding.sentence) in read_back


def test_the_record_tells_what_was_expected_and_where_it_comes_from(read_back: str) -> None:
    item = appraisal("business")
    for circuit in item.circuits:
        assert f"{circuit.rest.field_ohm:.0f}" in read_back
    for standby in item.standby:
        assert f"{standby.required_ah:.2f}Ah" in read_back
    for part in ("Workings", "Sources", "fromfirstprinciples", "0a1b2c3d", "2026-03-0109:30UTC", "inventedfortheexample", "page1of"):
        assert closed(part) in read_back, part


def test_the_same_inputs_give_the_same_bytes() -> None:
    assert record(appraisal("cottage")) == record(appraisal("cottage"))


def test_another_moment_gives_other_bytes() -> None:
    other = circuit_and_power_record(appraisal("cottage"), revision="0a1b2c3d", now=NOW.replace(hour=10))
    assert other != record(appraisal("cottage"))


def test_a_moment_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="zone"):
        circuit_and_power_record(appraisal("cottage"), revision="x", now=NOW.replace(tzinfo=None))


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_comes_out_as_it_was_written(pdftotext: str, name: str) -> None:
    job = appraisal("cottage").job
    hostile = replace(
        job,
        title=name,
        premises=Premises(name=name, address=name),
        parties={"a": Party(role=name, name=name)},
        equipment={unit: replace(item, label=name) for unit, item in job.equipment.items()},
        circuits={unit: replace(item, note=name) for unit, item in job.circuits.items()},
    )
    assert words(pdftotext, record(appraise(hostile))).count(closed(name)) >= 3


def test_control_characters_are_left_out(pdftotext: str) -> None:
    job = replace(appraisal("cottage").job, title="bell\x07\x00 end \ud800")
    assert "bellend" in words(pdftotext, record(appraise(job)))


def test_paper_follows_the_units() -> None:
    job = appraisal("cottage").job
    us = replace(job, region=replace(job.region, units=UnitSystem.US))
    for each, size in ((appraise(us), (612, 792)), (appraisal("cottage"), (595, 842))):
        box = PdfReader(BytesIO(record(each))).pages[0].mediabox
        assert (round(box.width), round(box.height)) == size


def test_the_record_carries_its_title_and_language_and_is_tagged() -> None:
    reader = PdfReader(BytesIO(record(appraisal("cottage"))))
    assert reader.metadata is not None
    assert reader.metadata.title == "Example cottage: Circuit and power record"
    root = reader.trailer["/Root"].get_object()
    assert root["/Lang"] == "en"
    assert root["/MarkInfo"]["/Marked"] is not None
    assert root["/StructTreeRoot"]


def test_an_empty_job_still_gives_a_record(pdftotext: str) -> None:
    job = replace(appraisal("cottage").job, equipment={}, cables={}, circuits={}, zones={}, joints={}, outputs={}, observations=())
    job = replace(job, signalling=replace(job.signalling, paths={}))
    assert closed("Circuit and power record") in words(pdftotext, record(appraise(job)))


def test_a_default_nobody_confirmed_is_marked() -> None:
    told = contents(appraisal("cottage"), revision="x", now=NOW)
    circuits = told["circuits"]
    assert isinstance(circuits, list)
    marks = {fact["name"]: fact["default"] for fact in circuits[0]["facts"]}
    assert marks["Tolerance"] is True
    assert marks["Topology"] is False


def test_no_figure_on_paper_has_more_digits_than_were_worked_out(read_back: str) -> None:
    assert not re.findall(r"\d\.\d{7,}", read_back)


def test_a_finding_stands_whole_on_one_page() -> None:
    pages = [closed(page.extract_text()) for page in PdfReader(BytesIO(record(appraisal("business")))).pages]
    told = contents(appraisal("business"), revision="0a1b2c3d", now=NOW)["findings"]
    assert isinstance(told, list)
    for finding in told:
        parts = [closed(finding[part]) for part in ("sentence", "remedy", "source")]
        assert any(all(part in page for part in parts) for page in pages), finding["sentence"]


def test_temperatures_follow_the_units_and_words_of_the_document_are_said_as_people_say_them(read_back: str) -> None:
    job = appraisal("business").job
    us = contents(appraise(replace(job, region=replace(job.region, units=UnitSystem.US))), revision="x", now=NOW)
    supplies = us["supplies"]
    assert isinstance(supplies, list)
    assert {row["text"] for each in supplies for row in each["battery"] if row["name"] == "Box temperature"} == {"68 °F", "71.6 °F"}
    for key in ("active-and-fault", "two-zones", "holdupdevice", closed("not readable not readable")):
        assert key not in read_back, key


def test_papers_are_found_by_name() -> None:
    assert PAPERS["circuit-and-power-record"] is circuit_and_power_record
