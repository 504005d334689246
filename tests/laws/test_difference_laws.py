"""Laws of the difference told: nothing for a job and itself, every changed place covered, exactly the touched rows, alike both ways."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from functools import cache
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import loopwright.demo
from loopwright.demo.synthetic import synthetic
from loopwright.job.difference import Difference, difference
from loopwright.job.document import Job
from loopwright.job.edit import AddItem, Edit, RemoveField, RemoveItem, RenameItem, SetField, apply
from loopwright.job.read import read
from loopwright.job.reading import Reading
from loopwright.job.sentence import sentences
from loopwright.job.shape import GaugeShape, NumberShape, TextShape, shape_at
from loopwright.values.error import JobError
from often import often

DEMOS = ("business", "dwelling")
PARTS = ("equipment", "cables", "circuits", "zones", "areas", "users", "parties", "joints", "sheets/equipment", "sheets/cables", "outputs")


@cache
def opened(name: str) -> tuple[str, Reading]:
    """Return a demo's text and reading."""
    text = loopwright.demo.text(name)
    return text, read(text)


def leaves(value: Any, path: str = "") -> dict[str, Any]:
    """Return every single value of a job by its path: nothing here knows of shapes or rows."""
    if dataclasses.is_dataclass(value):
        inner = {each.name: getattr(value, each.name) for each in dataclasses.fields(value) if each.name != "given"}
    elif isinstance(value, Mapping):
        inner = dict(value)
    elif isinstance(value, tuple) and not hasattr(value, "_fields") and any(dataclasses.is_dataclass(each) for each in value):
        inner = {str(number): each for number, each in enumerate(value)}
    else:
        return {path: value}
    found: dict[str, Any] = {}
    for name, each in inner.items():
        found |= leaves(each, f"{path}/{name}" if path else name)
    return found


def changed_paths(before: Job, after: Job) -> set[str]:
    """Return the places whose value differs, or that are said in one text and silent in the other."""
    was, now = leaves(before), leaves(after)
    said = {path for path in before.given ^ after.given if path in was or path in now}
    return said | {path for path in was.keys() | now.keys() if was.get(path, "") != now.get(path, "")}


def uncovered(before: Job, after: Job) -> set[str]:
    """Return the changed places no sentence covers: not itself, not what it lies in, and, for a whole that came or went, nothing in it."""
    told = {path for sentence in sentences(difference(before, after)) for path in sentence.paths}
    left = set()
    for path in changed_paths(before, after):
        above = path
        while above and above not in told:
            above = above.rpartition("/")[0]
        if not above and not any(each.startswith(f"{path}/") for each in told):
            left.add(path)
    return left


def touched(edit: Edit) -> str:
    """Return the row an edit of this test touches."""
    assert not hasattr(edit, "splices")
    path = f"{edit.path}/{edit.key}" if isinstance(edit, AddItem) and edit.key else edit.path  # type: ignore[union-attr]
    parts = path.split("/")
    return "/".join(parts[: 3 if parts[0] in ("sheets", "programme", "signalling") else 2])


def an_edit(rng: Random, reading: Reading, number: int) -> Edit:
    """Return an edit that a person could make; it may still be refused."""
    job = reading.job
    kind = rng.choice(("set", "set", "set", "add", "remove", "rename", "silence"))
    part = rng.choice([each for each in PARTS if any(path.startswith(f"{each}/") for path in reading.places)])
    deep = part.count("/") + 1
    rows = sorted({"/".join(path.split("/")[: deep + 1]) for path in reading.places if path.startswith(f"{part}/")})
    row = rng.choice(rows)
    if kind == "rename":
        return RenameItem(row, f"other-{number}")
    if kind == "remove":
        return RemoveItem(row)
    if kind == "add":
        return AddItem("users", f"person-{number}", {"role": f"role {number}"})
    fields = sorted(path for path in reading.places if path.startswith(f"{row}/") and path in job.given)
    path = rng.choice(fields) if fields else "title"
    if kind == "silence":
        return RemoveField(path)
    shape = shape_at(path)
    if isinstance(shape, NumberShape):
        return SetField(path, str(rng.randint(1, 40)))
    if isinstance(shape, GaugeShape):
        return SetField(path, f"{rng.choice((0.22, 0.5, 1.0))} mm²")
    return SetField(path, f"other words {number}") if isinstance(shape, TextShape) else SetField("title", f"title {number}")


def edited(text: str, seed: int, count: int) -> tuple[str, Job, set[str], list[tuple[str, str]]]:
    """Return the text after so many edits that were taken, its job, the rows they touched as called in the end, and the renamings."""
    rng, rows, renamed = Random(seed), set[str](), list[tuple[str, str]]()
    reading = read(text)
    for number in range(count * 4):
        if len(rows) >= count:
            break
        edit = an_edit(rng, reading, number)
        try:
            after = apply(text, edit).text
            reading_after = read(after)
        except JobError:
            continue
        if after == text or touched(edit) in rows:
            continue
        text, reading = after, reading_after
        if isinstance(edit, RenameItem):
            renamed.append((edit.path, f"{edit.path.rpartition('/')[0]}/{edit.new_id}"))
            rows = {renamed[-1][1] if row == edit.path else row for row in rows}
            rows.add(renamed[-1][1])
        else:
            rows.add(touched(edit))
    return text, reading.job, rows, renamed


def row_names(found: Difference) -> set[str]:
    """Return the rows the sentences of a difference speak of."""
    return {row for sentence in sentences(found) for row in sentence.rows}


@pytest.mark.parametrize("name", DEMOS)
def test_a_job_does_not_differ_from_itself(name: str) -> None:
    job = opened(name)[1].job
    assert not difference(job, job)
    assert sentences(difference(job, job)) == ()


@given(name=st.sampled_from(DEMOS), seed=st.integers(0, 2**32), count=st.integers(1, 8))
@settings(max_examples=often(6))
def test_edits_are_told_by_exactly_the_rows_they_touch(name: str, seed: int, count: int) -> None:
    text, before = opened(name)
    _, after, rows, renamed = edited(text, seed, count)
    found = difference(before.job, after)
    told = row_names(found)
    # Two edits of one row may undo each other.
    assert rows <= told | {each for each in rows if each not in found.rows and before_and_after_alike(before.job, after, each, renamed)}
    assert told <= rows
    assert told == found.rows
    assert not uncovered(before.job, after)


def before_and_after_alike(before: Job, after: Job, row: str, renamed: list[tuple[str, str]]) -> bool:
    """Return whether a row that was edited says the same in the end: two edits of it undid each other."""
    old = next((old for old, new in renamed if new == row), row)
    return old == row and not any(path == row or path.startswith(f"{row}/") for path in changed_paths(before, after))


@given(name=st.sampled_from(DEMOS), seed=st.integers(0, 2**32), count=st.integers(1, 8))
@settings(max_examples=often(6))
def test_the_way_back_names_the_same_rows(name: str, seed: int, count: int) -> None:
    text, before = opened(name)
    _, after, _, _ = edited(text, seed, count)
    there, back = difference(before.job, after), difference(after, before.job)
    assert {there.old_path(row) if row not in _gone(there) else row for row in there.rows} == set(back.rows)
    assert not uncovered(after, before.job)


def _gone(found: Difference) -> set[str]:
    return {step.path for step in found.steps if step.act == "removed"}


@given(seeds=st.tuples(st.integers(0, 50), st.integers(0, 50)), devices=st.tuples(st.integers(1, 12), st.integers(1, 12)))
@settings(max_examples=often(6))
def test_any_two_jobs_are_told_apart_without_a_place_left_over(seeds: tuple[int, int], devices: tuple[int, int]) -> None:
    before, after = (read(synthetic(count, seed)).job for count, seed in zip(devices, seeds, strict=True))
    assert not uncovered(before, after)
    assert bool(sentences(difference(before, after))) == (before != after or before.given != after.given)
