"""The addresses of the desk: what is said of a case, and a pass-word held against the vault, which is kept nowhere."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from secrets import token_hex

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response
from pydantic import BaseModel, Field, SecretStr

from loopwright.desk.case import Case
from loopwright.store.case_file import trail_of
from loopwright.store.file import StoreError
from loopwright.store.person import Right
from loopwright.store.secret import Secret
from loopwright.store.vault import Vault
from loopwright.values.code import Use, use_of
from loopwright.web.desk_change import DeskChange
from loopwright.web.desking import Desk
from loopwright.web.drawn import Drawn, Outside
from loopwright.web.page import Query
from loopwright.web.print_run import Clock
from loopwright.web.rights import demands
from loopwright.web.rooms.desk import seen
from loopwright.web.session import Session
from loopwright.web.shelf_cases import open_cases
from loopwright.web.vault_asked import holder_of, refused
from loopwright.web.vault_open import OpenVaults, Shut
from loopwright.web.visitor import Visitor, record_for, visitor_of

ROOM = "desk"
LONGEST_WORD = 200
MOST_WRONG = 3
"""So many wrong pass-words are heard of a case on one day, lest one be found by trying (a choice)."""
DAY = len("2026-03-02")
TOO_MANY = "Three pass-words were wrong in this case today, so none is compared before tomorrow. Call back on the number on record."
Draw = Callable[[str, Visitor], str]
"""Draws the sheet for an address' query."""


class Compared(BaseModel, extra="forbid"):
    """A pass-word as the caller said it, and which of the vault it is to be."""

    case: str = Field(max_length=40)
    name: str = Field(max_length=300)
    word: SecretStr = Field(max_length=LONGEST_WORD)


def add_desk(app: FastAPI, draw: Drawn, session: Session, clock: Clock) -> None:
    """Add the addresses of the room, and the one desk there is of the job."""
    desk = draw.desk = Desk(session.file.path.parent, session, clock)
    vaults: OpenVaults | None = getattr(app.state, "vaults", None)
    desk.pass_words = lambda visitor: words_in(vaults, visitor)
    _add_saying(app, desk, lambda query, visitor: draw.room(ROOM, Query.of(query), visitor))

    @app.post(f"/{ROOM}/compare")
    @demands(Right.WORK_ALARMS)
    def compare(asked: Compared, request: Request) -> Response:
        return compared(asked, request, desk, vaults)


def add_desk_of_folder(app: FastAPI, draw: Outside, desk: Desk) -> None:
    """Add the desk for callers whose premises are not on file, with the open cases of every premises of the folder."""

    def sheet(query: str, visitor: Visitor) -> str:
        shown = seen(desk, dict(Query.of(query).asked))
        return draw.alone("desk-of-folder.html", visitor=visitor, elsewhere=open_cases(desk.folder, desk.now()), **shown)

    _add_saying(app, desk, sheet)

    @app.get(f"/{ROOM}")
    @demands(Right.WORK_ALARMS)
    def look(request: Request) -> Response:
        return HTMLResponse(sheet(request.url.query, visitor_of(request)))


def _add_saying(app: FastAPI, desk: Desk, draw: Draw) -> None:
    @app.post(f"/{ROOM}")
    @demands(Right.WORK_ALARMS)
    def said(change: DeskChange, request: Request) -> Response:
        made = desk.make(change, visitor_of(request), lambda path: record_for(request, path))
        problems = [] if isinstance(made, str) else [{"path": each.path, "message": each.message} for each in made]
        case = made if isinstance(made, str) else change.case
        return JSONResponse({"problems": problems, "case": case, "page": draw(f"case={case}" if case else "", visitor_of(request))})


def words_in(vaults: OpenVaults | None, visitor: Visitor) -> list[str] | None:
    """Return the names of the pass-words in the vault; None where it is not open for this visitor."""
    if vaults is None or not visitor.may(Right.READ_SECRETS):
        return None
    try:
        return [name for name in vaults.names(holder_of(visitor)) if use_of(name) is Use.WORD]
    except (Shut, StoreError):
        return None


def compared(asked: Compared, request: Request, desk: Desk, vaults: OpenVaults | None) -> Response:
    """Return whether a pass-word is the one in the vault, once it is noted that it was compared; neither goes out, neither is kept."""
    visitor = visitor_of(request)
    if vaults is None or not visitor.may(Right.READ_SECRETS):
        return refused(Shut())
    try:
        said = Secret(asked.word.get_secret_value())
        right = _right(asked, said, desk, vaults.vault(holder_of(visitor)))
        note = record_for(request, trail_of(desk.file_of(asked.case).path))
        note("pass-word compared", f"{asked.case}: {'right' if right else 'wrong'}")
    except ValueError:
        return refused(StoreError("What was typed holds something that is not a character."))
    except (Shut, StoreError) as error:
        return refused(error)
    return JSONResponse({"problem": "", "right": right})


def _right(asked: Compared, said: Secret, desk: Desk, vault: Vault) -> bool:
    """Return whether a pass-word is the one in the vault; a wrong one counts. Raises StoreError after too many on one day."""
    now = desk.clock().isoformat(timespec="seconds")
    found: list[bool] = []

    def tried(case: Case) -> Case:
        if sum(each[:DAY] == now[:DAY] for each in case.wrong_words) >= MOST_WRONG:
            raise StoreError(TOO_MANY)
        found.append(vault.matches(asked.name, said))
        return case if found[-1] else replace(case, wrong_words=(*case.wrong_words, now)[-MOST_WRONG:])

    # Counted within the one change of the file, so that many tries at a time are no more tries.
    desk.file_of(asked.case).change(asked.case, tried, mark=token_hex(8))
    return found[0]
