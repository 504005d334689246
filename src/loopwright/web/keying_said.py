"""What is said of the keying plan on the phone: ticks, what is read back, what an unknown unit holds. Kept with the visit, never a code."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Literal

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel, Field

from loopwright.job.document import Job
from loopwright.job.edit import InTurn
from loopwright.keying.entry import Field as UnitField
from loopwright.keying.entry import fields_of
from loopwright.keying.form import Unfit
from loopwright.keying.plan import Entry, Found, plan_of
from loopwright.keying.spot import spots_of, units_of
from loopwright.keying.taken import taken_over
from loopwright.store.file import StoreError
from loopwright.store.person import Right
from loopwright.store.visit import FoundSaid, KeyedSaid, Visit
from loopwright.values.error import JobError, Problem
from loopwright.web.drawn import Drawn
from loopwright.web.page import Query
from loopwright.web.rights import demands
from loopwright.web.rights import refuse as refuse_visitor
from loopwright.web.rooms import keying
from loopwright.web.session import Session
from loopwright.web.site_change import Moment, problems_of, refuse
from loopwright.web.visiting import OnSite
from loopwright.web.visitor import Visitor, visitor_of

ROOM = "keying"
Text = Annotated[str, Field(max_length=300)]


class KeyingSaid(BaseModel, extra="forbid"):
    """One thing said of an entry. ``visit`` is the one the page shows, ``mark`` names what was said, which counts once.

    To take over what was found, ``shown`` names the differences that the page showed.
    """

    do: Literal["keyed", "read", "found", "take"]
    visit: str = Field(default="", max_length=40)
    mark: str = Field(min_length=8, max_length=64)
    unit: str = Field(max_length=64)
    address: Text = ""
    shown: str = Field(default="", max_length=64)
    on: bool = False
    text: Text = ""
    query: str = Field(default="", max_length=8000)
    held: str = Field(default="", max_length=64)


def add_keying(app: FastAPI, draw: Drawn, session: Session, site: OnSite) -> None:
    """Add the sheet on which the keying plan is ticked off, and the address at which something is said of it."""
    draw.rooms[ROOM] = keying.room_of()

    @app.post(f"/{ROOM}")
    @demands(Right.ENTER_READINGS)
    def said(change: KeyingSaid, request: Request) -> Response:
        visitor = visitor_of(request)
        if change.do == "take":
            refuse_visitor(visitor, Right.CHANGE_JOB)
            problems = _take(session, draw, site, change, visitor)
        else:
            problems = _make(session.state.job, site, change, visitor)
        told = [{"path": each.path, "message": each.message} for each in problems]
        return JSONResponse({"problems": told, "page": draw.room(ROOM, Query.of(change.query), visitor, held=change.held)})


def _make(job: Job, site: OnSite, change: KeyingSaid, visitor: Visitor) -> tuple[Problem, ...]:
    now = site.clock()
    moment = Moment(visitor.name, now.isoformat(timespec="seconds"), f"{now:%Y-%m-%d %H:%M}")
    try:
        site.file.change(lambda visit: changed(change, visit, job, moment), mark=change.mark, of=change.visit, by=moment.by, at=moment.iso)
    except (JobError, StoreError) as error:
        return problems_of(error)
    return ()


def _take(session: Session, draw: Drawn, site: OnSite, change: KeyingSaid, visitor: Visitor) -> tuple[Problem, ...]:
    """Take over what was found at a unit into the programme, as one step; nothing where it is not what the page showed."""
    try:
        visit = site.file.load()
    except StoreError as error:
        return (Problem(path="kept", line=0, column=0, message=str(error)),)

    def made(job: Job) -> InTurn:
        if change.unit not in units_of(job):
            refuse("", "There is no such unit to key in this job any more.")
        taken = taken_over(job, keying.found_now(job, change.unit, visit))
        if not taken.rows:
            refuse("", "Everything is taken over already.")
        if change.shown != taken.mark or change.visit not in ("", visit.id):
            refuse("", "What was found, or the programme, has changed meanwhile. Nothing was taken over: look at the differences again.")
        return taken.edit

    before, words = session.state.revision, f"what was found at {change.unit}"
    problems = session.edit(made, mark=change.mark, by=visitor.name, summary=words)
    if not problems:
        draw.steps.call(words, before)
    return problems


def changed(change: KeyingSaid, visit: Visit, job: Job, now: Moment) -> Visit:
    """Return the visit with what was said. Raises JobError with the words; what was typed is never repeated in them."""
    if change.unit not in units_of(job):
        refuse("", "There is no such unit to key in this job any more.")
    every = change.do == "found"
    fields = {field.address: field for field in fields_of(spots_of(job, change.unit, every_row=every))}
    field = fields.get(change.address)
    if field is None:
        refuse("", "The unit's sheet has no such address any more.")
    if every:
        return _found(change, visit, field)
    plan = plan_of(job, change.unit, found_in(visit, job, change.unit))
    entry = next((each for each in plan.entries if each.address == change.address), None)
    if entry is None:
        refuse("", "This needs no entry any more.")
    return _keyed(change, visit, field, entry, now)


def found_in(visit: Visit, job: Job, unit: str) -> Found | None:
    """Return what a unit was found to hold; None where nothing was read, so that it is taken as the factory left it."""
    fields = {field.address: field for field in fields_of(spots_of(job, unit))}
    values: dict[str, object] = {}
    for each in visit.found:
        field = fields.get(each.address) if each.unit == unit else None
        if field is not None and not field.by_hand():
            try:
                values |= field.apart(each.shown)
            except Unfit:
                continue
    return values or None  # type: ignore[return-value]


def _found(change: KeyingSaid, visit: Visit, field: UnitField) -> Visit:
    kept = tuple(each for each in visit.found if (each.unit, each.address) != (change.unit, change.address))
    shown = " ".join(change.text.split())
    if not shown:
        return replace(visit, found=kept)
    if field.by_hand():
        refuse("text", "What is read of a code or the clock is not taken down.")
    try:
        field.apart(shown)
    except Unfit as why:
        refuse("text", f"{why.said.sentence} {why.said.right}")
    return replace(visit, found=(*kept, FoundSaid(unit=change.unit, address=change.address, shown=shown)))


def _keyed(change: KeyingSaid, visit: Visit, field: UnitField, entry: Entry, now: Moment) -> Visit:
    before = next((each for each in visit.keyed if (each.unit, each.address) == (change.unit, change.address)), None)
    keys = "" if entry.by_hand else entry.keys
    made = KeyedSaid(unit=change.unit, address=change.address, keys=keys, by=now.by, at=now.minute)
    if before is not None and before.keys == keys:
        made = replace(made, done=before.done, read=before.read, wrong=before.wrong)
    if change.do == "keyed":
        made = replace(made, done=change.on)
    else:
        made = _read(change, made, field, entry)
    kept = tuple(each for each in visit.keyed if each is not before)
    return replace(visit, keyed=(*kept, made) if made.done or made.read or made.wrong else kept)


def _read(change: KeyingSaid, made: KeyedSaid, field: UnitField, entry: Entry) -> KeyedSaid:
    """Return the entry as it was read back. What means nothing at the unit is not kept: it may be a code."""
    shown = " ".join(change.text.split())
    if entry.by_hand and shown:
        refuse("text", "A code is never read back: have it tried once, and see that it is taken.")
    if not shown:
        return replace(made, read="", wrong=False)
    try:
        values = field.apart(shown)
        read = field.separator.join(spot.form.keyed(values[spot.key]) for spot in field.spots)
    except Unfit:
        return replace(made, read="", wrong=True)
    right = read.casefold() == entry.shows.casefold()
    # What reads right was entered, whether or not somebody ticked it.
    return replace(made, read=shown, wrong=not right, done=made.done or right)
