"""``loopwright new`` and ``loopwright demo``: documents to start from."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from loopwright import demo
from loopwright.appraisal.appraise import appraise
from loopwright.demo.synthetic import synthetic
from loopwright.job.read import read
from loopwright.job.starter import starter
from loopwright.values.finding import Severity

Run = Callable[..., Any]


def test_a_job_just_begun_is_appraised() -> None:
    found = appraise(read(starter()).job)
    assert {finding.severity for finding in found.findings} == {Severity.GAP} and not found.power.loads


def test_the_starter_is_a_job_and_stays_one_with_its_examples_let_in() -> None:
    bare = read(starter()).job
    assert bare.equipment == {}
    whole = read(re.sub(r"(?m)^# ", "", starter())).job
    assert set(whole.equipment) == {"control", "lounge", "sounder"}
    assert set(whole.circuits) == {"c01"}
    assert whole.region.standby_h == 12


@pytest.mark.parametrize("name", demo.names())
def test_a_demo_is_written_as_it_stands(run: Run, tmp_path: Path, name: str) -> None:
    file = tmp_path / "job.yaml"
    assert run("new", str(file), "--demo", name).status == 0
    assert file.read_text(encoding="utf-8") == demo.text(name)
    assert run("demo", name).out == demo.text(name)


def test_the_same_seed_makes_the_same_job(run: Run, tmp_path: Path) -> None:
    for seed in (7, 8):
        run("new", str(tmp_path / f"{seed}.yaml"), "--synthetic", "20", "--seed", str(seed))
    assert (tmp_path / "7.yaml").read_text(encoding="utf-8") == synthetic(20, 7)
    assert (tmp_path / "8.yaml").read_text(encoding="utf-8") == synthetic(20, 8) != synthetic(20, 7)


def test_a_file_that_is_there_is_left_alone_unless_forced(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "job.yaml"
    file.write_text("mine", encoding="utf-8")
    done = run("new", str(file))
    assert done.status == 2
    assert "is there already" in done.err
    assert "--force" in done.err
    assert file.read_text(encoding="utf-8") == "mine"
    assert run("new", str(file), "--force").status == 0
    assert file.read_text(encoding="utf-8") == starter()
    assert [each.name for each in tmp_path.iterdir()] == ["job.yaml"]


def test_a_link_to_nowhere_is_not_followed(run: Run, tmp_path: Path) -> None:
    (tmp_path / "link.yaml").symlink_to(tmp_path / "elsewhere.yaml")
    assert run("new", str(tmp_path / "link.yaml")).status == 2
    assert not (tmp_path / "elsewhere.yaml").exists()


def test_forced_a_link_leads_to_the_file(run: Run, tmp_path: Path) -> None:
    (tmp_path / "job.yaml").write_text("mine", encoding="utf-8")
    (tmp_path / "link.yaml").symlink_to("job.yaml")
    assert run("new", str(tmp_path / "link.yaml"), "--force").status == 0
    assert (tmp_path / "link.yaml").is_symlink()
    assert (tmp_path / "job.yaml").read_text(encoding="utf-8") == starter()


def test_force_writes_over_files_only(run: Run, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    done = run("new", str(tmp_path / "pipe"), "--force")
    assert done.status == 2
    assert "is not a file" in done.err
    assert run("new", str(tmp_path), "--force").status == 2


def test_a_write_that_fails_leaves_nothing_behind(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    done = run("new", str(tmp_path / "job.yaml"))
    assert (done.status, done.err) == (2, f"{tmp_path / 'job.yaml'}: cannot be written: No space left on device.\n")
    assert not list(tmp_path.iterdir())


def test_a_disk_without_hard_links_will_do(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr("os.link", refuse)
    assert run("new", str(tmp_path / "job.yaml")).status == 0
    assert run("new", str(tmp_path / "job.yaml")).status == 2
    assert [each.name for each in tmp_path.iterdir()] == ["job.yaml"]


def test_the_folder_must_be_there(run: Run, tmp_path: Path) -> None:
    done = run("new", str(tmp_path / "no" / "job.yaml"))
    assert (done.status, done.err) == (2, f"{tmp_path / 'no' / 'job.yaml'}: its folder does not exist.\n")


def test_a_new_document_may_go_to_standard_output(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert run("new", "-").out == starter()
    assert not list(tmp_path.iterdir())


def test_demo_lists_every_example_and_writes_none(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    done = run("demo")
    assert all(re.search(rf"(?m)^{name} +{read(demo.text(name)).job.title}: ", done.out) for name in demo.names())
    assert not list(tmp_path.iterdir())
