"""The search against the model checker SPIN: for each of many random programmes as many states, as deep, the same verdicts.

The rows are those of the table, handed to SPIN as numbers; so this tests the search, and the model written by hand
(tests/oracles/test_rehearse_by_hand.py) tests what the rows mean.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path
from random import Random

import pytest

from loopwright.rehearse.search import Reached, search
from loopwright.rehearse.state import fields
from loopwright.rehearse.table import Packing, Row
from often import DEEP, often
from rehearse.test_search import small

pytestmark = pytest.mark.skipif(not (shutil.which("spin") and shutil.which("gcc")), reason="spin or gcc is not installed")
LIMITS = ("-DSAFETY", "-DNOREDUCE", "-DBFS", "-DMEMLIM=256")
PATIENCE_S = 600
BITS = 31
"""A state has to fit in one number of SPIN."""
PROGRAMMES, QUESTIONS = often(20), 1 + DEEP
HEAD = """
c_decl {{
  unsigned int row_mask[{most}], row_value[{most}], row_keep[{most}], row_set[{most}], asked_mask, asked_value; int rows;
}}
int s = 0; bool ready = false;
active proctype area() {{
  c_code {{
    {{ FILE *from = fopen(getenv("ROWS"), "r"); int each;
      if (fscanf(from, "%d %u %u", &rows, &asked_mask, &asked_value) != 3) exit(3);
      for (each = 0; each < rows; each++)
        if (fscanf(from, "%u %u %u %u", &row_mask[each], &row_value[each], &row_keep[each], &row_set[each]) != 4) exit(3);
      fclose(from); now.ready = 1; }}
  }};
end: do
  :: c_expr {{ asked_mask && (now.s & asked_mask) == asked_value }} -> assert(false)
"""
ROW = "c_expr {{ {0} < rows && (now.s & row_mask[{0}]) == row_value[{0}] }} -> c_code {{ now.s = (now.s & row_keep[{0}]) | row_set[{0}]; }}"


def promela(most: int) -> str:
    """Return a model with room for so many rows; it reads them when it starts."""
    rows = "\n".join(f"  :: d_step {{ {ROW.format(number)} }}" for number in range(most))
    return HEAD.format(most=most) + rows + "\n  od\n}\n"


def numbers(rows: list[Row], asked: tuple[int, int] = (0, 0)) -> str:
    bits = (1 << BITS) - 1
    lines = [f"{len(rows)} {asked[0]} {asked[1]}", *(f"{row.mask} {row.value} {row.keep & bits} {row.set}" for row in rows)]
    return "\n".join(lines) + "\n"


def drawn() -> list[Reached]:
    random, found = Random(20), list[Reached]()
    while len(found) < PROGRAMMES:
        made = small(random)
        if Packing(fields(made)).bits <= BITS:
            found.append(search(made))
    return found


def questions(random: Random, reached: Reached) -> list[tuple[tuple[int, int], bool]]:
    """Return whether a state is reached in which two fields stand as drawn, asked of the search."""
    found, packing = [], reached.table.packing
    while len(found) < QUESTIONS:
        names = random.sample(list(packing.sizes), 2)
        values = {name: random.randrange(packing.sizes[name]) for name in names}
        mask, value = packing.stated(values)
        if mask and value:
            found.append(((mask, value), bool(((reached.states & mask) == value).any())))
    return found


def test_spin_stores_as_many_states_as_deep_and_answers_alike(tmp_path: Path) -> None:
    random, found = Random(21), drawn()
    moving = [[row for row in reached.table.rows if row.moves()] for reached in found]
    (tmp_path / "area.pml").write_text(promela(max(map(len, moving))), encoding="utf-8")
    for command in (("spin", "-a", "area.pml"), ("gcc", "-w", "-O0", *LIMITS, "-o", "pan", "pan.c")):
        subprocess.run(command, cwd=tmp_path, check=True, capture_output=True, timeout=PATIENCE_S)

    def run(rows: list[Row], asked: tuple[int, int] = (0, 0)) -> str:
        (tmp_path / "rows").write_text(numbers(rows, asked), encoding="ascii")
        done = subprocess.run(
            (str(tmp_path / "pan"), "-E", "-w16"),
            cwd=tmp_path, env={**os.environ, "ROWS": "rows"}, capture_output=True, text=True, check=True, timeout=PATIENCE_S,
        )  # fmt: skip
        return done.stdout

    answers = set()
    for reached, rows in zip(found, moving, strict=True):
        said = run(rows)
        stored, depth = re.search(r"(\d+) states, stored", said), re.search(r"depth reached (\d+)", said)
        assert stored and depth and "errors: 0" in said, said
        # One more than ours of each: SPIN keeps the state before the rows are read.
        assert (int(stored[1]), int(depth[1])) == (reached.states.size + 1, len(reached.layers)), reached.table.programme
        for asked, answer in questions(random, reached):
            answers.add(answer)
            assert (re.search(r"errors: ([1-9])", run(rows, asked)) is not None) == answer, (asked, reached.table.programme)
    assert answers == {True, False}
