"""docs/questions.md is true: every command in it says what stands beneath it."""

from __future__ import annotations

import runpy
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_every_command_of_the_page_says_what_stands_there() -> None:
    tool = runpy.run_path(str(ROOT / "tools" / "write-questions-page"))
    page = (ROOT / "docs" / "questions.md").read_text(encoding="utf-8")
    # Every question of this part is answered by the program itself, not by a promise.
    assert len(tool["BLOCK"].findall(page)) >= 20
    assert tool["filled"](page) == page
