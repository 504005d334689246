"""The search against the model checker SPIN: as many states for each of many random programmes, from the same table of rows."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path
from random import Random

import pytest

from loopwright.rehearse.search import search
from loopwright.rehearse.table import Row, table_of
from often import often
from rehearse.drawn import programme

pytestmark = pytest.mark.skipif(not (shutil.which("spin") and shutil.which("gcc")), reason="spin or gcc is not installed")
LIMITS = ("-DSAFETY", "-DNOREDUCE", "-DMEMLIM=256")
PATIENCE_S = 300
BITS = (1 << 31) - 1


def promela(tables: list[tuple[Row, ...]]) -> str:
    rows = [
        f"  :: d_step {{ p == {number} && (s & {row.mask}) == {row.value} -> s = (s & {row.keep & BITS}) | {row.set} }}"
        for number, table in enumerate(tables)
        for row in table
        if row.moves()
    ]
    begin = 'c_code { now.p = atoi(getenv("PROGRAMME")); };'
    return "\n".join(["int s = 0; int p = -1;", "active proctype area() {", begin, "end: do", *rows, "od }"])


def test_spin_stores_as_many_states(tmp_path: Path) -> None:
    random = Random(20)
    tables = [table_of(programme(random, followed=random.randint(0, 2), rest=random.randint(0, 1))) for _ in range(often(20))]
    assert all(table.packing.bits < 31 for table in tables)
    (tmp_path / "area.pml").write_text(promela([table.rows for table in tables]), encoding="utf-8")
    for command in (("spin", "-a", "area.pml"), ("gcc", "-w", "-O0", *LIMITS, "-o", "pan", "pan.c")):
        subprocess.run(command, cwd=tmp_path, check=True, capture_output=True, timeout=PATIENCE_S)
    for number, table in enumerate(tables):
        done = subprocess.run(
            (str(tmp_path / "pan"), "-E", "-m1000000"),
            cwd=tmp_path, env={**os.environ, "PROGRAMME": str(number)}, capture_output=True, text=True, check=True, timeout=PATIENCE_S,
        )  # fmt: skip
        found = re.search(r"(\d+) states, stored", done.stdout)
        assert found is not None and "errors: 0" in done.stdout, done.stdout
        # One more than ours: SPIN keeps the state before the programme is chosen.
        assert int(found[1]) == search(table).states.size + 1, table.programme
