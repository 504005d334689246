"""What somebody sends may be made to keep this program busy: none of it takes longer than its length allows.

The times are of this thread's own work, so that a busy machine is no fault; before, each of these took minutes or longer.
"""

from __future__ import annotations

import time
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path

import openpyxl
import pytest

import loopwright.demo
from loopwright.job.cellvalue import _BETWEEN, _TERMINAL
from loopwright.job.columns import folded
from loopwright.job.edit import SetField, apply
from loopwright.job.merge import MOST_ALIKE, merged
from loopwright.job.read import read
from loopwright.store.folder import JobFolder
from loopwright.store.sheetfile import grid_of

MOST_S = 10.0
LONG = 200_000


@contextmanager
def bounded() -> Iterator[None]:
    began = time.thread_time()
    yield
    assert time.thread_time() - began < MOST_S


def test_two_changes_of_a_document_of_lines_all_alike_are_brought_together() -> None:
    base = loopwright.demo.text("dwelling") + "#\n" * 20_000
    ours = "#\n" * 20_000 + apply(base, SetField("title", "Ours")).text
    theirs = apply(base, SetField("premises/name", "Theirs")).text + "#\n" * 20_000
    assert 20_000**2 > MOST_ALIKE
    with bounded():
        together = merged(base, ours, theirs)
    job = read(together.text).job
    assert not together.clashes and (job.title, job.premises.name) == ("Ours", "Theirs")


def test_lines_that_keep_apart_still_stand_as_both_wrote_them() -> None:
    base = loopwright.demo.text("business")
    ours = apply(base, SetField("title", "Ours")).text + "# ours\n"
    theirs = "# theirs\n" + apply(base, SetField("premises/name", "Theirs")).text
    text = merged(base, ours, theirs).text
    assert text.startswith("# theirs\n") and text.endswith("# ours\n") and "Ours" in text and "Theirs" in text


def test_a_number_format_without_end_is_cut_off() -> None:
    book = openpyxl.Workbook()
    assert book.active is not None
    book.active.append(["Cable no", "Length (m)"])
    book.active.append(["W22", 55])
    book.active["B2"].number_format = '0.0" m"'
    plain, hostile = BytesIO(), BytesIO()
    book.save(plain)
    with zipfile.ZipFile(plain) as old, zipfile.ZipFile(hostile, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.namelist():
            new.writestr(part, old.read(part).replace(b"0.0&quot; m&quot;", b"0" * LONG))
    assert grid_of(plain.getvalue(), "runs.xlsx").rows[1] == ("W22", "55 m")
    with bounded():
        assert grid_of(hostile.getvalue(), "runs.xlsx").rows[1] == ("W22", "55")


@pytest.mark.parametrize("text", ["c01" + " " * LONG + "!", " " * LONG + "x", "a" * LONG + "!"])
def test_cells_of_blanks_are_read_once(text: str) -> None:
    with bounded():
        assert _TERMINAL.fullmatch(text) is None and _BETWEEN.split(text) == [text]


def test_a_head_of_brackets_alone_is_a_head() -> None:
    assert folded("Length (m) [x]") == "length"
    with bounded():
        folded("(" * LONG)


def test_a_title_of_blanks_is_found_without_looking_twice(tmp_path: Path) -> None:
    for number in range(40):
        (tmp_path / f"j{number}.yaml").write_text("format: 1\ntitle: a" + " " * 4000 + "b\n", encoding="utf-8")
    (tmp_path / "plain.yaml").write_text("format: 1\ntitle:  'Corn Exchange' \t\nx: 1\n", encoding="utf-8")
    with bounded():
        entries = JobFolder(tmp_path).entries()
    assert len(entries) == 41 and "Corn Exchange" in [entry.title for entry in entries]
