"""The address that opens and shuts the port of a test, for the room Prove."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel, Field

from loopwright.store.file import JobFile, StoreError
from loopwright.store.kept import KeptJob
from loopwright.store.person import Right
from loopwright.store.trail import MemoryTrail
from loopwright.web.drawn import Drawn
from loopwright.web.page import Query
from loopwright.web.proving import Proving
from loopwright.web.receiving import HERE, PORTS, USUAL_PORT, addresses
from loopwright.web.rights import demands
from loopwright.web.session import Session
from loopwright.web.vault_asked import holder_of
from loopwright.web.vault_open import OpenVaults, Shut
from loopwright.web.visitor import Visitor, visitor_of

if TYPE_CHECKING:
    from loopwright.store.accounts import Listed

VAULT_SHUT = "The accounts and their keys are in the vault of this job, and it is shut: open it in Secrets, then open the port."


class PortChange(BaseModel, extra="forbid"):
    """What is asked of the port: to open it at one address for so many hours [h], to leave it open longer, or to shut it."""

    do: Literal["open", "more", "close"]
    host: str = Field(default=HERE, max_length=64)
    port: str = Field(default=str(USUAL_PORT), max_length=8)
    test_h: str = Field(default="1", max_length=8)
    plain_too: Literal["", "yes"] = ""
    query: str = Field(default="", max_length=8000)
    held: str = Field(default="", max_length=64)


def add_port(app: FastAPI, draw: Drawn, session: Session, proving: Proving) -> None:
    """Add the address, where the job is a file that what is received can be kept beside."""
    if not isinstance(session.file, JobFile | KeptJob | MemoryTrail):
        return
    job = session.file.path
    vaults: OpenVaults | None = getattr(app.state, "vaults", None)
    proving.port = lambda: PORTS.standing(job)

    @app.post("/prove/port")
    @demands(Right.CHANGE_JOB)
    def port(change: PortChange, request: Request) -> Response:
        from loopwright.receiver.server import NotOpened

        visitor, told = visitor_of(request), []
        try:
            if change.do == "open":
                _open(change, proving, vaults, visitor)
            elif change.do == "more":
                PORTS.extend(job)
            else:
                PORTS.close(job)
        except (NotOpened, StoreError) as error:
            told = [{"path": "port", "message": str(error)}]
        return JSONResponse({"problems": told, "page": draw.room("prove", Query.of(change.query), visitor, held=change.held)})

    def _open(change: PortChange, proving: Proving, vaults: OpenVaults | None, visitor: Visitor) -> None:
        from loopwright.receiver.server import NotOpened, Place

        if change.host not in addresses():
            raise NotOpened(f"{change.host}: this machine has no such address. It has {', '.join(addresses())}.")
        try:
            number, hours = int(change.port), float(change.test_h.replace(",", "."))
        except ValueError:
            raise NotOpened("Write the port and the hours as numbers, for example 8418 and 1.") from None
        place = Place(host=change.host, port=number, test_h=hours).checked()
        PORTS.open(job, place, accounts(vaults, visitor, plain_too=change.plain_too == "yes"), proving.clock)


def accounts(vaults: OpenVaults | None, visitor: Visitor, *, plain_too: bool) -> tuple[Listed, ...]:
    """Return the accounts of the vault, none where there is no vault. Raises StoreError, when it is shut too."""
    from loopwright.store.accounts import accounts_in

    if vaults is None or not vaults.path.exists():
        return ()
    try:
        return accounts_in(vaults.vault(holder_of(visitor)), plain_too=plain_too)
    except Shut:
        raise StoreError(VAULT_SHUT) from None
