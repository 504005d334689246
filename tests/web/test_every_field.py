"""Every field of a job document has its cell in some room: what the file may say can be corrected and emptied on screen."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import loopwright.demo
from loopwright.job.document import Job
from loopwright.job.shape import ListShape, MapShape, RecordShape, Shape, job_shape
from loopwright.store.file import JobFile
from loopwright.web.change import Change, edit_of
from loopwright.web.dictionary import value_at
from loopwright.web.drawn import Drawn
from loopwright.web.page import Query
from loopwright.web.session import Session
from loopwright.web.visitor import SOMEBODY

NOT_EDITED = re.compile(r"format|(circuits/[^/]+/path/\d+|zones/[^/]+)/part|circuits/[^/]+/path/\d+/contacts")
"""The version of the format; which half of two zones on one pair, where there are not two; contacts of a step without a device."""
CELL = re.compile(r'data-(?:path|form|tick)="([^"]+)"|<details class="ticks[^>]* id="c:([^"]+)"')


def fields(job: Job, shape: Shape, path: str = "") -> Iterator[str]:
    """Yield every place of a document that holds one value, or may hold a part that is not there."""
    value = value_at(job, path) if path else job
    if isinstance(shape, RecordShape) and value is not None:
        for name, field in shape.fields.items():
            yield from fields(job, field.shape, f"{path}/{name}".lstrip("/"))
    elif isinstance(shape, MapShape):
        for name in value or ():
            yield from fields(job, shape.value, f"{path}/{name}")
    elif isinstance(shape, ListShape) and isinstance(shape.item, RecordShape):
        for number in range(len(value or ())):
            yield from fields(job, shape.item, f"{path}/{number}")
    else:
        yield path


def drawn(session: Session) -> str:
    """Return every room, with all there is in it unfolded."""
    job, draw = session.state.job, Drawn(session, "0")
    kit = [f"d:sheets/{part}/{name}" for part in ("equipment", "batteries", "cables") for name in getattr(job.sheets, part)]
    opened = {
        "kit": tuple(kit + [f"d:equipment/{name}" for name in job.equipment]),
        "wiring": tuple(f"d:{part}/{name}" for part in ("cables", "circuits") for name in getattr(job, part)),
    }
    rooms = ("front", "premises", "kit", "wiring", "power", "programme")
    return "".join(draw.room(room, Query(opened=opened.get(room, ())), SOMEBODY) for room in rooms)


def test_every_field_of_a_document_can_be_edited_on_screen(tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    path.write_text(loopwright.demo.text("dwelling"), encoding="utf-8")
    session = Session(JobFile(path))
    html = drawn(session)
    cells = {first or second for first, second in CELL.findall(html)}
    wanted = {each for each in fields(session.state.job, job_shape()) if not NOT_EDITED.fullmatch(each)}
    assert len(wanted) > 500 and wanted - cells == set()
    named = set(re.findall(r'data-path="([^"]+)" data-rename', html))
    parts = ("equipment", "cables", "circuits", "parties", "storeys", "areas", "users", "outputs", "sheets/equipment", "sheets/batteries")
    for part in parts:
        assert {f"{part}/{name}" for name in value_at(session.state.job, part)} <= named, part


def test_an_id_is_corrected_everywhere_and_what_cannot_be_one_is_refused_in_words(tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    path.write_text(loopwright.demo.text("dwelling"), encoding="utf-8")
    session = Session(JobFile(path))
    circuit, job = next(iter(session.state.job.circuits)), session.state.job
    zones = [name for name, zone in job.zones.items() if zone.circuit == circuit]
    assert not session.edit(edit_of(Change(do="rename", path=f"circuits/{circuit}", text=" front-loop "), job))
    assert zones and all(session.state.job.zones[name].circuit == "front-loop" for name in zones)
    (problem,) = session.edit(edit_of(Change(do="rename", path="circuits/front-loop", text="front loop"), job))
    assert "'front loop' cannot be a name" in problem.message
