"""docs/keying.md is true: every command in it says what stands beneath it."""

from __future__ import annotations

import runpy
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_every_command_of_the_page_says_what_stands_there() -> None:
    tool = runpy.run_path(str(ROOT / "tools" / "write-questions-page"))
    page = (ROOT / "docs" / "keying.md").read_text(encoding="utf-8")
    assert len(tool["BLOCK"].findall(page)) == 4
    assert tool["filled"](page) == page
