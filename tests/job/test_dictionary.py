"""The data dictionary and its page in the manual."""

from __future__ import annotations

from pathlib import Path

from loopwright.job.dictionary import dictionary, page

PAGE = Path(__file__).resolve().parents[2] / "docs" / "document.md"


def test_the_manual_page_is_current() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), "run tools/write-document-page"


def test_every_field_has_a_meaning_and_a_path_of_its_own() -> None:
    rows = dictionary()
    assert all(row.meaning for row in rows)
    assert len({row.path for row in rows}) == len(rows)


def test_rows_say_type_unit_and_default() -> None:
    rows = {row.path: row for row in dictionary()}
    assert rows["cables/<id>/length_m"].unit == "m"
    assert rows["cables/<id>/length_m"].default == ""
    assert rows["cables/<id>/slack_m"].default == "0 m"
    assert rows["circuits/<id>/path/<n>/cable"].type == "one of cables"
    assert rows["circuits/<id>/input"].default == "silent"
    assert "two-zones" in rows["circuits/<id>/topology"].type
