"""``loopwright history``: revisions listed, the difference of any two told; and lists taken in stand in the history."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from loopwright import demo
from loopwright.job.edit import SetField, apply
from loopwright.store.kept import history_path
from loopwright.store.sql import open_store
from loopwright.store.store import Change
from loopwright.store.user import who

Run = Callable[..., Any]
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
EDITS = (SetField("cables/W30/length_m", "90"), SetField("title", "The \u202ebindery"), SetField("cables/W12/length_m", "60"))


@pytest.fixture
def job(tmp_path: Path) -> Iterator[Path]:
    """Return a job file with four revisions beside it, of which the second has a name."""
    file = tmp_path / "shop.yaml"
    text = demo.text("business")
    store = open_store(history_path(file))
    store.create("shop.yaml", text, Change(by="Ana", at=NOON, why="the history begins"))
    for number, edit in enumerate(EDITS, 1):
        text = apply(text, edit).text
        change = Change(by="Bo", at=NOON + timedelta(hours=number), summary=f"{edit.path}: {edit.text}")
        store.append("shop.yaml", text, change, expected=number)
    store.mark("shop.yaml", "as designed", 2)
    store.close()
    file.write_text(text, encoding="utf-8")
    yield file


def test_the_revisions_are_listed_the_latest_first(run: Run, job: Path) -> None:
    done = run("history", str(job))
    assert done.status == 0
    lines = done.out.splitlines()
    assert [line.split()[0] for line in lines] == ["4", "3", "2", "1"]
    assert "Bo  length of W30: 90  [as designed]" in lines[2] and "Ana  the history begins" in lines[3]
    assert "\u202e" not in done.out and "\\u202ebindery" in lines[1]
    assert run("history", str(history_path(job))).out == done.out
    found = run("history", str(job), "--json").data()
    assert [each["number"] for each in found["revisions"]] == [4, 3, 2, 1]
    assert found["revisions"][2]["names"] == ["as designed"] and found["revisions"][3]["at"] == "2026-03-02T12:00:00.000000+00:00"


def test_the_difference_is_told(run: Run, job: Path) -> None:
    done = run("history", str(job), "--from", "1", "--to", "as designed")
    assert done.status == 0
    assert "Run W30 is 90 m long instead of 14 m." in done.out and "title" not in done.out.lower()
    assert "9.54 V → 6.39 V, needs 8.50 V: no longer met" in done.out
    assert "must 3 → 4" in done.out and "New findings:" in done.out
    whole = run("history", str(job), "--from", "as designed", "--json").data()
    assert [each["words"] for each in whole["sentences"]][-1] == "Run W12 is 60 m long instead of 16 m."
    assert (whole["from"]["number"], whole["to"]["number"]) == (2, 4)
    assert {each["key"] for each in whole["figures"]} == {"volts/dual-stairs.supply", "rest/c03"}
    last = run("history", str(job), "--to", "4")
    assert last.out.startswith("From revision 3 of ")


def test_what_cannot_be_told_is_refused_in_words(run: Run, job: Path) -> None:
    assert "no name like that. Accepted: a number, or as designed." in run("history", str(job), "--from", "as fitted").err
    assert "no revision 77" in run("history", str(job), "--from", "77").err
    assert "none before it" in run("history", str(job), "--to", "1").err
    other = job.with_name("other.yaml")
    other.write_text(demo.text("dwelling"), encoding="utf-8")
    done = run("history", str(other))
    assert done.status == 2 and "has no history beside it" in done.err
    assert not history_path(other).exists()
    history_path(other).write_bytes(b"not a database")
    assert run("history", str(other)).status == 2
    assert run("history", "no.db").status == 2 and run("history", str(job), "--from", "").status == 2


def test_a_list_taken_in_is_a_revision_where_a_history_is_kept(run: Run, job: Path) -> None:
    table = job.with_name("runs.csv")
    table.write_text("Id,Length (m)\nW07,60\nW10,31\n", encoding="utf-8")
    assert run("list-in", str(job), "cables", str(table), "--dry-run").status == 0
    assert run("history", str(job)).out.splitlines()[0].split()[0] == "4"
    assert run("list-in", str(job), "cables", str(table)).status == 0
    first = run("history", str(job)).out.splitlines()[0]
    assert first.split()[0] == "5" and first.endswith(f"{who()}  list of cables taken in, 0 new, 2 values changed")
    store = open_store(history_path(job), read_only=True)
    assert store.head("shop.yaml").text == job.read_text(encoding="utf-8") and store.verify() == []
    store.close()
    told = run("history", str(job), "--to", "5").out
    assert "Run W07 is 60 m long instead of 1.5 m." in told and "Run W10 is 31 m long instead of 15 m." in told


def test_a_list_taken_in_without_a_history_begins_none(run: Run, tmp_path: Path) -> None:
    job, table = tmp_path / "job.yaml", tmp_path / "runs.csv"
    job.write_text(demo.text("business"), encoding="utf-8")
    table.write_text("Id,Length (m)\nW07,60\n", encoding="utf-8")
    assert run("list-in", str(job), "cables", str(table)).status == 0
    assert not history_path(job).exists()


def test_a_list_is_taken_in_beside_a_damaged_history(run: Run, job: Path) -> None:
    history_path(job).write_bytes(b"SQLite format 3\0" + b"x" * 5000)
    table = job.with_name("runs.csv")
    table.write_text("Id,Length (m)\nW07,60\n", encoding="utf-8")
    done = run("list-in", str(job), "cables", str(table))
    assert done.status == 0 and "No history is kept now" in done.err
    assert "length_m: 60" in job.read_text(encoding="utf-8")


def test_of_several_jobs_one_is_chosen(run: Run, job: Path) -> None:
    store = open_store(history_path(job))
    store.create("barn.yaml", demo.text("dwelling"), Change(by="Ana", at=NOON))
    store.close()
    kept = str(history_path(job))
    assert "Accepted: shop.yaml or barn.yaml." in run("history", kept).err
    assert len(run("history", kept, "--job", "barn.yaml").out.splitlines()) == 1
    assert len(run("history", str(job)).out.splitlines()) == 4
