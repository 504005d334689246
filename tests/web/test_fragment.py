"""A page that keeps what the server has not sent again shows what the whole room would show, whatever it held before."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import loopwright.demo
from loopwright.job.edit import RemoveField, RemoveItem, SetField
from loopwright.store.file import JobFile
from loopwright.web.drawn import Drawn
from loopwright.web.fragment import Drawings, fragments
from loopwright.web.page import ROWS, Query
from loopwright.web.session import Session
from loopwright.web.visitor import SOMEBODY

ROOMS = ("front", "kit", "wiring", "power", "programme")
EDITS = (
    SetField("cables/D1/length_m", "31"), SetField("cables/S1/length_m", "9"), SetField("title", "A shed"),
    SetField("equipment/panel/label", "Panel"), RemoveItem("zones/z03"), SetField("cables/D1/temperature_c", "20"),
    RemoveField("cables/K1/slack_m"), SetField("zones/z01/text", "Back door"), SetField("region/units", "metric"),
    SetField("sheets/cables/two-22/cores", "8"), SetField("circuits/p01/resistors/end_ohm", "2.2 kΩ"),
)  # fmt: skip
OPENED = ("d:cables/D1", "d:circuits/p01", "w:misread/p01/rest/", "w:ohm/p01/rest/")
Whole = dict[str, str]


def brought(held: str, sent: str) -> str:
    """Return what a page that holds one text shows after an answer: every marked element is the page's own."""
    own = {found.id: held[found.start : found.end] for found in fragments(held)}
    out, at = [], 0
    for found in fragments(sent):
        if sent[found.start : found.end] == f'<{found.element} id="{found.id}" data-same></{found.element}>':
            out += [sent[at : found.start], own[found.id]]
            at = found.end
    return "".join([*out, sent[at:]])


def name_in(html: str) -> str:
    """Return the name of a drawing, as the page learns it."""
    return html.partition('data-drawn="')[2].partition('"')[0]


def whole_of(draw: Drawn) -> Callable[[str], str]:
    """Return a function that gives the whole text of a drawing beside the one that was sent."""
    kept: Whole = {}
    sent = draw.drawings.sent

    def note(html: str, name: str, held: str) -> str:
        kept[name] = html
        return sent(html, name, held)

    draw.drawings.sent = note  # type: ignore[method-assign]
    return lambda answer: kept[name_in(answer)]


@settings(max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_page_brought_up_to_date_is_the_whole_room(data: st.DataObject, tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    path.write_text(loopwright.demo.text("dwelling"), encoding="utf-8")
    session = Session(JobFile(path))
    draw = Drawn(session, "")
    whole = whole_of(draw)
    # Two tabs, some answers lost on the way, one of another room: what a page holds is what it last got.
    tabs = [draw.room(data.draw(st.sampled_from(ROOMS)), Query(), SOMEBODY) for _ in range(2)]
    for _ in range(4):
        act = data.draw(st.sampled_from([*EDITS, "undo", None]))
        if act == "undo":
            session.undo()
        elif act is not None:
            session.edit(act)
        tab = data.draw(st.integers(0, 1))
        room = data.draw(st.sampled_from(ROOMS))
        query = Query(opened=tuple(data.draw(st.sets(st.sampled_from(OPENED), max_size=2))))
        answer = draw.room(room, query, SOMEBODY, held=name_in(tabs[tab]))
        # Rows taken over from the drawing before are the rows that would be drawn.
        ROWS.clear()
        assert whole(draw.room(room, query, SOMEBODY)).partition(">\n<a")[2] == whole(answer).partition(">\n<a")[2]
        if data.draw(st.booleans()):
            tabs[tab] = brought(tabs[tab], answer)
            assert tabs[tab] == whole(answer)


def test_the_edits_are_made(tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    path.write_text(loopwright.demo.text("dwelling"), encoding="utf-8")
    session = Session(JobFile(path))
    assert [session.edit(edit) for edit in EDITS] == [()] * len(EDITS)
    assert session.state.revision == len(EDITS)


def test_little_is_sent_of_a_room_in_which_one_run_has_changed(tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    path.write_text(loopwright.demo.text("business"), encoding="utf-8")
    session = Session(JobFile(path))
    draw = Drawn(session, "")
    before = draw.room("wiring", Query(), SOMEBODY)
    session.edit(SetField("cables/W22/length_m", "31"))
    assert len(draw.room("wiring", Query(), SOMEBODY, held=name_in(before))) < len(before) / 4
    assert len(draw.room("wiring", Query(), SOMEBODY, held="unknown")) > len(before) * 0.9


def test_a_page_with_two_rows_of_one_id_is_always_sent_whole() -> None:
    drawings, html = Drawings(), '<tr id="a"><td>' + "x" * 200 + "</td></tr>" + '<tr id="a"><td>' + "x" * 200 + "</td></tr>"
    for held in ("", "one", "two"):
        assert drawings.sent(html, "one" if held != "one" else "two", held) == html


def test_only_so_many_drawings_are_remembered() -> None:
    drawings, html = Drawings(), f'<tr id="a"><td>{"x" * 200}</td></tr>'
    drawings.sent(html, "first", "")
    assert drawings.sent(html, "second", "first") == '<tr id="a" data-same></tr>'
    for _ in range(100):
        drawings.sent(html, drawings.name(), "")
    assert drawings.sent(html, "last", "first") == html
