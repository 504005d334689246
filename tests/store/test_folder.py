"""A folder of job files: what is listed, what is written, and that no name leads out of it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopwright import demo
from loopwright.job.read import read
from loopwright.job.starter import fresh
from loopwright.store.file import StoreError
from loopwright.store.folder import JobFolder, stem_of
from loopwright.values.error import JobError


def text(title: str = "Corn Exchange") -> str:
    return fresh(title=title, name=title, country="GB", ruleset="en-grade-2", units="metric")


def test_jobs_are_listed_by_title_and_nothing_else_is(tmp_path: Path) -> None:
    (tmp_path / "z.yaml").write_text(demo.text("business"), encoding="utf-8")
    (tmp_path / "a.yml").write_text(text("Willow Court"), encoding="utf-8")
    (tmp_path / "notes.yaml").write_text("- not a job\n", encoding="utf-8")
    (tmp_path / "z.yaml.history.db").write_bytes(b"x")
    (tmp_path / "inner").mkdir()
    (tmp_path / "inner" / "b.yaml").write_text(text(), encoding="utf-8")
    assert [(entry.name, entry.title) for entry in JobFolder(tmp_path).entries()] == [("z", "Fennimarch Bindery"), ("a", "Willow Court")]


@given(name=st.text(max_size=30) | st.sampled_from(["..", ".", "../secret", "inner/b", "/etc/passwd", "a\0b", "secret.yaml/..", "a%2Fb"]))
def test_no_name_leads_out_of_the_folder(name: str, tmp_path_factory: pytest.TempPathFactory) -> None:
    outer = tmp_path_factory.getbasetemp()
    (outer / "secret.yaml").write_text(text(), encoding="utf-8")
    folder = outer / "folder"
    folder.mkdir(exist_ok=True)
    (folder / "inner").mkdir(exist_ok=True)
    (folder / "inner" / "b.yaml").write_text(text(), encoding="utf-8")
    with pytest.raises(StoreError):
        JobFolder(folder).path_of(name)


@given(title=st.text(max_size=60))
def test_any_title_makes_a_name_that_is_found_again(title: str, tmp_path_factory: pytest.TempPathFactory) -> None:
    folder = JobFolder(tmp_path_factory.mktemp("folder"))
    first, second = folder.put(title, text()), folder.put(title, text())
    assert first != second
    for name in (first, second):
        path = folder.path_of(name)
        assert path.parent == folder.path and len(os.fsencode(path.name)) < 60
    assert stem_of(title) == first


def test_a_file_that_is_there_is_not_written_over(tmp_path: Path) -> None:
    (tmp_path / "corn-exchange.yml").write_text("mine", encoding="utf-8")
    assert JobFolder(tmp_path).put("Corn Exchange", text()) == "corn-exchange-2"
    assert (tmp_path / "corn-exchange.yml").read_text(encoding="utf-8") == "mine"


def test_a_folder_that_cannot_be_had_is_said_plainly(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="no folder"):
        JobFolder(tmp_path / "nowhere")


def test_a_new_job_holds_what_was_said_of_it_and_keeps_its_explanations() -> None:
    awkward = "Café: “A & B” # 2"
    job = read(made := fresh(title=awkward, name=awkward, country="US", ruleset="na-household", units="us")).job
    assert (job.title, job.premises.name, job.region.country, job.region.units) == (awkward, awkward, "US", "us")
    assert "## Data sheets" in made
    with pytest.raises(JobError):
        fresh(title="x", name="x", country="GB", ruleset="en-grade-2", units="furlongs")
