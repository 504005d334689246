"""``loopwright list-in`` and ``list-out``: whole lists in and out, or nothing and words."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from loopwright import demo
from loopwright.job.list_plan import ListKind
from loopwright.job.read import read

Run = Callable[..., Any]


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """Return a job file of its own."""
    file = tmp_path / "job.yaml"
    file.write_text(demo.text("business"), encoding="utf-8")
    return file


@pytest.mark.parametrize("ending", ["xlsx", "csv", "tsv"])
@pytest.mark.parametrize("kind", ListKind)
def test_out_and_in_again_changes_nothing(run: Run, job: Path, kind: str, ending: str) -> None:
    file = job.with_name(f"list.{ending}")
    assert run("list-out", str(job), kind, str(file)).status == 0
    done = run("list-in", str(job), kind, str(file))
    assert done.status == 0
    assert " 0 changed" in done.out
    assert "the job says all this already" in done.err
    assert job.read_text(encoding="utf-8") == demo.text("business")


def test_a_list_is_taken_and_a_dry_run_is_not(run: Run, job: Path) -> None:
    table = "Cable no,From,To,Run length (ft),Drum\nW07,,,60,\n,control,door-escape,30,\n"
    file = job.with_name("runs.csv")
    file.write_text(table, encoding="utf-8")
    for options in (["--dry-run"], []):
        done = run("list-in", str(job), "cables", str(file), "--match", "Drum=sheet", "--fill", "Type=six-core", *options)
        assert done.status == 0, done.err
        assert "1 new run, 1 changed (W07 length 1.5 → 60 ft), 0 unchanged." in done.out
        assert "Column E (Drum): sheet, as told" in done.out
        assert (job.read_text(encoding="utf-8") == demo.text("business")) == bool(options)
    cables = read(job.read_bytes()).job.cables
    assert cables["W07"].length_m == pytest.approx(60 * 0.3048)
    assert cables["W63"].sheet == "six-core"


def test_a_refused_list_leaves_the_job_and_says_every_place(run: Run, job: Path) -> None:
    table = "Id\tTo\tLength (m)\nW07\t\t60\nW11\tnowhere\ttall\n"
    done = run("list-in", str(job), "cables", "-", "--json", stdin=table.encode())
    assert done.status == 2
    assert [(each["row"], each["column"]) for each in done.data()["problems"]] == [(3, 2), (3, 3)]
    assert "standard input: Row 3, column C (Length (m)): 'tall' is not a number" in done.err
    assert "1 refused; nothing is taken" in done.err
    assert job.read_text(encoding="utf-8") == demo.text("business")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["list-in", "-", "cables", "x.csv"], "must be a file"),
        (["list-in", "JOB", "cables", "none.csv"], "there is no such file"),
        (["list-in", "none.yaml", "cables", "x.csv"], "there is no such file"),
        (["list-in", "JOB", "doors", "x.csv"], "doors"),
        (["list-in", "JOB", "cables", "JOB", "--match", "id"], "'id' is no pair"),
        (["list-in", "JOB", "cables", "JOB", "--match", '"a=b'], "not closed"),
        (["list-in", "JOB", "cables", "JOB", "--fill", "a=b,a=c"], "told twice"),
        (["list-in", "JOB", "cables", "JOB", "--sheet", "one"], "has no sheets"),
        (["list-out", "JOB", "cables", "runs.ods"], "which kind of list?"),
        (["list-out", "JOB", "cables", "JOB.csv"], "is there already"),
    ],
)
def test_what_cannot_be_done_is_said(run: Run, job: Path, arguments: list[str], words: str) -> None:
    Path(f"{job}.csv").write_text("mine", encoding="utf-8")
    done = run(*(each.replace("JOB", str(job)) for each in arguments))
    assert done.status == 2
    assert words in done.err
    assert Path(f"{job}.csv").read_text(encoding="utf-8") == "mine"


def test_a_list_on_standard_output_reads_back_from_standard_input(run: Run, job: Path) -> None:
    out = run("list-out", str(job), "zones", "-").out
    assert out.startswith("Id,Number,Text,Circuit,Part,Areas")
    assert "0 changed, 32 unchanged" in run("list-in", str(job), "zones", "-", stdin=out.encode()).out


def test_no_other_verb_waits_for_the_spreadsheet_libraries() -> None:
    code = (
        "import sys; from loopwright.cli.command import application; application(); "
        "print([name for name in sys.modules if 'xlsx' in name or 'calamine' in name or 'listing' in name or 'sheetfile' in name])"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=240).stdout.strip() == "[]"
