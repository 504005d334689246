"""Closed cases in the folder of a job move what `loopwright explain` says, it says so, and they can be left out."""

from __future__ import annotations

import json
from pathlib import Path

from cli.conftest import Run
from loopwright.demo import text
from loopwright.desk.case import Case, Closed
from loopwright.store.case_file import CaseFile, cases_path

SEEN = "format: 1\nreadings:\n - {where: panel, at: battery, shows: yes}\n"


def test_closed_cases_move_what_is_explained(run: Run, tmp_path: Path) -> None:
    job, seen = tmp_path / "house.yaml", tmp_path / "seen.yaml"
    job.write_text(text("dwelling"), encoding="utf-8")
    seen.write_text(SEEN, encoding="utf-8")

    def chance(*more: str) -> tuple[float, dict[str, object]]:
        data = json.loads(run("explain", str(job), "--seen", str(seen), "--json", *more).out)
        return sum(c["probability"] for a in data["answers"] for c in a["causes"] if c["fault"] == "P08"), data

    alone, _ = chance()
    for number in range(4):
        closed = Closed(at="2026-03-02T12:00:00", by="Dora", cause="P08", fixed_by="lead put on")
        CaseFile(cases_path(job)).begin(Case(id=f"c{number}", at="2026-03-02", by="Dora", closed=closed), mark=f"mark-{number:06d}")
    learned, data = chance()
    left_out, _ = chance("--catalogue-alone")
    assert learned > alone > 0
    assert left_out == alone
    assert data["closed_cases"] == 4
    assert [row["fault"] for row in data["moved"]] == ["P08"]  # type: ignore[index, attr-defined]
    said = run("explain", str(job), "--seen", str(seen)).out
    assert "moved by 4 closed cases" in said and "[P08]" in said
