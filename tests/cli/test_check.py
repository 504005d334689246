"""``loopwright check``: findings for people and for programs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from loopwright.values.source import Standing, sources

Run = Callable[..., Any]


@pytest.fixture
def short_of_volts(sample: str, tmp_path: Path) -> str:
    """Return a job whose bell asks for more volts than a battery has."""
    text = Path(sample).read_text(encoding="utf-8")
    bent = text.replace("supply: {unset_a: 0, alarm_a: 280 mA, min_v: 9,", "supply: {unset_a: 0, alarm_a: 280 mA, min_v: 13.5,")
    assert bent != text
    file = tmp_path / "short.yaml"
    file.write_text(bent, encoding="utf-8")
    return str(file)


def test_a_broken_must_is_told_with_its_remedy_and_source(run: Run, short_of_volts: str) -> None:
    done = run("check", short_of_volts)
    assert done.status == 1
    assert done.err == ""
    lines = done.out.splitlines()
    assert any(line.startswith("Must: ") for line in lines)
    at = next(number for number, line in enumerate(lines) if "equipment/bell" in line and "volts-below-minimum" in line)
    assert "13.5 V" in lines[at + 1]
    assert any(line.startswith("    Source: ") for line in lines[at:])
    assert " must, " in lines[-1]


def test_nothing_broken_is_status_0(run: Run, tmp_path: Path) -> None:
    file = str(tmp_path / "new.yaml")
    assert run("new", file).status == 0
    done = run("check", file)
    assert done.status == 0
    assert done.out.splitlines()[-1].startswith("0 must, ")


def test_the_machine_form_has_stable_keys(run: Run, short_of_volts: str) -> None:
    done = run("check", short_of_volts, "--json")
    assert done.status == 1
    data = done.data()
    assert set(data) == {"file", "title", "stage", "ruleset", "summary", "problems", "findings"}
    assert data["problems"] == []
    assert set(data["summary"]) == {"must", "should", "note", "gap"}
    assert sum(data["summary"].values()) == len(data["findings"])
    for finding in data["findings"]:
        assert set(finding) == {
            "code", "severity", "subject", "sentence", "remedy", "clause", "source", "source_title", "standing", "figures",
        }  # fmt: skip
        assert finding["source"] in sources()
        assert finding["standing"] in list(Standing)
    bell = next(each for each in data["findings"] if each["subject"] == "equipment/bell" and each["code"] == "volts-below-minimum")
    assert bell["severity"] == "must"
    figure = bell["figures"][0]
    assert set(figure) == {"key", "label", "value", "unit", "over_range"}
    assert figure["unit"] == "V"
    assert figure["value"] < 13.5


def test_people_and_programs_are_told_the_same_number_of_findings(run: Run, short_of_volts: str) -> None:
    told = run("check", short_of_volts).out.splitlines()[-1]
    found = run("check", short_of_volts, "--json").data()["summary"]
    assert told.startswith(f"{found['must']} must, {found['should']} should, {found['note']} note")


def test_a_job_comes_in_by_standard_input(run: Run, sample: str) -> None:
    done = run("check", "-", stdin=Path(sample).read_bytes())
    assert done.out == run("check", sample).out


HOSTILE = r"""
format: 1
title: "[bold]T[/bold] :smile: \u202Egnp [link=file:///etc]x[/link]"
premises: {name: x}
region: {country: GB, ruleset: custom}
sheets:
  equipment:
    c:
      {kind: control-unit, maker: "[red]", model: m, loads: {board: {unset_a: 0.1, min_v: 14.5}},
      supply: {output_v: 13.7, limit_a: 1}, outputs: {aux: {limit_a: 1}}}
equipment:
  control: {sheet: c, label: "[/] [red]L \u2028\ufeff"}
"""


@pytest.mark.parametrize("verb", ["check", "forecast"])
def test_hostile_names_are_printed_as_they_stand(run: Run, verb: str) -> None:
    done = run(verb, "-", stdin=HOSTILE.encode())
    assert done.status == (1 if verb == "check" else 0), done.err
    assert all(line.isprintable() for line in done.out.split("\n"))
    assert r"[bold]T[/bold] :smile: \u202egnp [link=file:///etc]x[/link]" in done.out
    if verb == "check":
        assert r"[/] [red]L \u2028\ufeff gets " in done.out


def test_hostile_names_are_data_in_the_machine_form(run: Run) -> None:
    done = run("check", "-", "--json", stdin=HOSTILE.encode())
    assert done.data()["title"].startswith("[bold]T[/bold] :smile: \u202egnp")
    assert done.out.isascii()


def test_control_characters_are_shown_wherever_they_come_from(run: Run, sample: str, monkeypatch: pytest.MonkeyPatch) -> None:
    from loopwright.job import read as reader

    text = Path(sample).read_text(encoding="utf-8")
    job = replace(reader.read(text).job, title="a\x1b]0;owned\a\r\x9b2J\nb")
    monkeypatch.setattr("loopwright.job.read.read", lambda _: reader.Reading(job=job, places={}))
    for verb in ("check", "forecast"):
        assert run(verb, sample).out.startswith(r"a\x1b]0;owned\x07\r\x9b2J\nb")
