"""The event table as it stands on its page: no word is written over another."""

from __future__ import annotations

import subprocess
from datetime import UTC, datetime
from itertools import combinations
from xml.etree import ElementTree

import pytest

import loopwright.demo
from loopwright.appraisal.appraise import appraise
from loopwright.job.read import read
from loopwright.papers.proving import event_table_paper
from loopwright.prove.found import Found, due_of, found_of
from loopwright.prove.record import Record

NOW = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
PLAY_PT = 0.5
"""What the boxes of neighbouring words may share of a line's slant and side bearings [points]."""


def unproved(name: str) -> Found:
    item = appraise(read(loopwright.demo.text(name)).job)
    return found_of(due_of(item.job, item.circuits, item.power), Record(), (), now=NOW)


@pytest.mark.parametrize("name", ("dwelling", "business"))
def test_no_word_is_written_over_another(pdftotext: str, name: str) -> None:
    """Held against the boxes pdftotext finds: on the narrower sheet a text must not run into the column beside it."""
    found = unproved(name)
    pdf = event_table_paper(found, revision="0a1b2c3d", now=NOW)
    told = subprocess.run([pdftotext, "-bbox", "-f", "1", "-l", "1", "-", "-"], input=pdf, capture_output=True, check=True).stdout
    page = ElementTree.fromstring(told)
    words = [
        (*(float(each.attrib[side]) for side in ("xMin", "xMax", "yMin", "yMax")), each.text)
        for each in page.iter()
        if each.tag.endswith("word")
    ]
    assert len(words) > 100
    for one, two in combinations(words, 2):
        across = min(one[1], two[1]) - max(one[0], two[0])
        down = min(one[3], two[3]) - max(one[2], two[2])
        assert across < PLAY_PT or down < 3, (one, two)


def test_the_table_says_in_words_what_a_zone_does() -> None:
    found = unproved("business")
    told = " ".join(each.from_words for each in found.board.expected)
    assert "final exit in full" in told and "report of confirmed alarm" in told and "final-exit" not in told
