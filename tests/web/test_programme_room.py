"""Programme and Rehearsal: the verdict comes in the answer to the edit; routes and odd cells are told; a try is an address."""

from __future__ import annotations

import re
from itertools import combinations
from pathlib import Path

import pytest

from loopwright import demo
from loopwright.job.edit import RemoveField, SetField
from loopwright.store.file import JobFile
from loopwright.web.drawn import Drawn
from loopwright.web.page import Query
from loopwright.web.session import Session
from loopwright.web.visitor import SOMEBODY


@pytest.fixture
def draw(tmp_path: Path) -> Drawn:
    path = tmp_path / "job.yaml"
    path.write_text(demo.text("dwelling"), encoding="utf-8")
    return Drawn(Session(JobFile(path)), "0")


def strip(draw: Drawn) -> str:
    found = re.search(r'<aside class="verdict.*?</aside>', draw.room("programme", Query(), SOMEBODY), re.DOTALL)
    assert found
    return found[0]


def test_a_first_look_does_not_wait_for_the_search_and_asks_for_it(draw: Drawn) -> None:
    for room in ("programme", "rehearsal"):
        first = draw.room(room, Query(), SOMEBODY, look=True)
        assert "data-searching" in first and "found broken" not in first and "verdict.js" in first
    assert "No promise was found broken." in draw.room("programme", Query.of("verdict=now"), SOMEBODY, look=True)
    for room in ("programme", "rehearsal"):
        assert "data-searching" not in draw.room(room, Query(), SOMEBODY, look=True)
    # After a change there is something to wait for again, also where somebody else made it.
    assert not draw.session.edit(SetField("zones/z04/response/full", "ignored"))
    assert "data-searching" in draw.room("programme", Query(), SOMEBODY, look=True)
    assert 'id="story:0"' in draw.room("rehearsal", Query.of("story=0"), SOMEBODY, look=True)


def test_a_response_that_breaks_a_promise_is_told_with_its_story_and_mended_again(draw: Drawn) -> None:
    assert "No promise was found broken." in strip(draw)
    assert not draw.session.edit(SetField("zones/z04/response/full", "ignored"))
    told = strip(draw)
    assert "This change breaks a promise: Zone 4 (Kitchen windows) is expected to raise an alarm in full" in told
    assert "60 s</span> Zone 4 (Kitchen windows) opens" in told and '<details id="stories" open>' in told
    # What has nothing to do with the programme searches nothing, and leaves the verdict as it stands.
    assert not draw.session.edit(SetField("cables/K1/length_m", "50 ft"))
    assert "This change breaks a promise" in strip(draw)
    assert not draw.session.edit(SetField("zones/z04/response/full", "immediate"))
    assert "Mended. No promise was found broken." in strip(draw)


def test_what_was_not_searched_is_never_told_as_kept(draw: Drawn) -> None:
    assert not draw.session.edit(SetField("zones/z04/response/full", "shrug"))
    told = strip(draw)
    assert "shrug" in told and "searched without it" in told and "found broken in the rest" in told and "kept-all" not in told
    assert not draw.session.edit(RemoveField("areas/house/entry_s"))
    told = strip(draw)
    assert "Nothing was searched." in told and "No promise" not in told and "kept-all" not in told
    assert not draw.session.edit(SetField("areas/house/entry_s", "30"))
    assert not draw.session.edit(SetField("zones/z04/response/full", "immediate"))
    assert "No promise was found broken." in strip(draw) and "kept-all" in strip(draw)


def test_a_zone_that_is_left_out_is_not_told_as_mended(draw: Drawn) -> None:
    draw.room("programme", Query(), SOMEBODY)
    draw.session.edit(SetField("zones/z04/response/full", "ignored"))
    assert "This change breaks a promise" in strip(draw)
    draw.session.edit(SetField("zones/z04/response/full", "shrug"))
    assert "Mended" not in strip(draw) and "searched without it" in strip(draw)


def test_what_is_taken_where_nothing_is_said_stands_beside_the_cell(draw: Drawn) -> None:
    def rows(head: str) -> list[tuple[str, str]]:
        part = draw.room("programme", Query(), SOMEBODY).split(f'id="row:programme/{head}"')[1].split("</table>")[0]
        return re.findall(r'<th scope="row">([^<]*)</th>.*?<td class="usual">([^<]*)</td>', part)

    assert rows("prevents")[0] == ("A zone stands open", "never") and rows("sounds")[-1] == ("24-hour, set", "external")
    assert not draw.session.edit(SetField("programme/override_open", "yes"))
    assert rows("prevents")[0] == ("A zone stands open", "user")


def test_words_on_the_plan_stand_upon_no_others(draw: Drawn) -> None:
    for name in ("plan:1", "plan-narrow:1"):
        drawn = draw.room("programme", Query(), SOMEBODY).split(f'id="{name}"')[1].split("</svg>")[0]
        boxes = []
        for x, y, more, words in re.findall(r'<text class="lw-ink" x="([\d.-]+)" y="([\d.-]+)"([^>]*)>([^<]*)</text>', drawn):
            wide = 10.5 * 0.5 * len(words)
            left = float(x) - (wide if 'anchor="end"' in more else 0)
            boxes.append((left, float(y) - 10.5, left + wide, float(y), words))
        assert len(boxes) == 5
        for one, other in combinations(boxes, 2):
            assert one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1], (one[4], other[4])


def test_an_odd_cell_is_numbered_and_told(draw: Drawn) -> None:
    draw.session.edit(SetField("zones/z05/response/full", "chime"))
    draw.session.edit(SetField("users/sitter/areas/house", "set"))
    html = draw.room("programme", Query(), SOMEBODY)
    assert re.search(r'<li value="(\d+)">Zone 5 \(Living room window\), full: quiet in full set\.', html)
    assert "Sitter, House: may set and not unset." in html


def test_a_route_tells_what_is_passed_and_the_time_that_is_missing(draw: Drawn) -> None:
    draw.session.edit(SetField("areas/house/walk_s", "33"))
    draw.session.edit(SetField("zones/z06/response/full", "immediate"))
    html = draw.room("programme", Query(), SOMEBODY)
    assert '33 s of 30 s, <b class="word">3 s too long</b>' in html
    assert 'full: <b class="word">immediate</b>' in html and "lw-walk-plan" in html


@pytest.mark.parametrize("acts", ["dance|||0|", "set|house", "wait|soon", "%%", "set|house|the owner|0|~set|nowhere|x|0|"])
def test_a_try_that_makes_no_sense_is_said_to_make_none(acts: str, draw: Drawn) -> None:
    html = draw.room("rehearsal", Query(asked=(("acts", acts),)), SOMEBODY)
    assert "cannot be done in the programme as it is now" in html


def test_a_try_goes_on_by_its_address(draw: Drawn) -> None:
    html = draw.room("rehearsal", Query.of("acts=set%7Chouse%7Cthe%20owner%7C0%7C~next"), SOMEBODY)
    assert "House is set." in html and "Zone 3 (Patio slider) opens" in html


def test_a_story_is_played_step_by_step(draw: Drawn) -> None:
    draw.session.edit(SetField("zones/z04/response/full", "ignored"))
    html = draw.room("rehearsal", Query.of("story=0&step=2"), SOMEBODY)
    assert (
        "2 of 3" in html
        and "Zone 4 (Kitchen windows) opens" not in html.split('id="sandbox"')[0].split("story:0")[1].split("Whole story")[0]
    )
    assert "story=0&amp;step=3" in html
