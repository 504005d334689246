"""The addresses of the room Secrets. A secret goes out of one of them alone, one at a time, once it is noted who asked for it.

Everything that is asked for by name is posted, so that no address, no history of the browser and no log holds even a name.
"""

from __future__ import annotations

from collections.abc import Callable

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel, Field, SecretStr

from loopwright.appraisal.appraise import judge_codes
from loopwright.store.file import JobFile, StoreError
from loopwright.store.kept import KeptJob
from loopwright.store.person import Right
from loopwright.store.secret import Secret
from loopwright.values.source import source
from loopwright.web.drawn import Drawn
from loopwright.web.page import SEVERITY_WORDS
from loopwright.web.rights import demands
from loopwright.web.session import Session
from loopwright.web.vault_open import IDLE_S, Holder, OpenVaults, Shut, Sittings, Wait
from loopwright.web.vault_rows import parts_of, usual_names
from loopwright.web.visitor import Visitor, record_for, visitor_of

SHOWN_S = 15
"""How long a secret stands on the screen [s]."""
LONGEST = 20_000
BUSY = 429


class Opening(BaseModel, extra="forbid"):
    """The passphrase; a new one twice."""

    passphrase: SecretStr = Field(max_length=LONGEST)
    again: SecretStr | None = Field(default=None, max_length=LONGEST)


class Naming(BaseModel, extra="forbid"):
    """Which secret."""

    name: str = Field(max_length=300)


class Putting(BaseModel, extra="forbid"):
    """A secret and its name; typed twice, since it cannot be read while it is typed."""

    name: str = Field(max_length=300)
    secret: SecretStr = Field(max_length=LONGEST)
    again: SecretStr = Field(max_length=LONGEST)


def holder_of(visitor: Visitor) -> Holder:
    """Return whom a vault is open for: a person in this session alone."""
    return Holder(visitor.name, visitor.sitting)


def add_secrets(app: FastAPI, draw: Drawn, session: Session, sittings: Sittings | None) -> None:
    """Add the addresses of the room, and the one list of vaults that are open."""
    if not isinstance(session.file, JobFile | KeptJob):
        return _add_nothing(app)
    vaults = app.state.vaults = OpenVaults(session.file.path, sittings=sittings)
    sheet = Sheet(draw, session, vaults)
    _add_opening(app, sheet, vaults)
    _add_reading(app, sheet, vaults)
    _add_changing(app, sheet, vaults)


def forget_gone(request: Request) -> None:
    """Close the vault for everybody who has gone or is not what they were; where several jobs are open, the vault of each."""
    vaults = getattr(request.app.state, "vaults", None)
    if vaults is not None:
        vaults.forget_gone()


class Sheet:
    """What the room shows to one visitor, and the words when something is refused."""

    def __init__(self, draw: Drawn, session: Session, vaults: OpenVaults) -> None:
        self._draw = draw
        self._session = session
        self._vaults = vaults

    def of(self, request: Request) -> str:
        """Return the inside of the room as HTML."""
        visitor = visitor_of(request)
        left_s = self._vaults.left_s(holder_of(visitor))
        common = {
            "visitor": visitor,
            "may_change": visitor.may(Right.CHANGE_SECRETS),
            "idle_min": IDLE_S // 60,
            "file": self._vaults.path.name,
        }
        if not left_s:
            made = self._vaults.path.exists()
            return self._draw.alone("secrets-shut.html", made=made, **common)
        return self._draw.alone("secrets-open.html", left_s=round(left_s), shown_s=SHOWN_S, **common, **self._inside(visitor))

    def _inside(self, visitor: Visitor) -> dict[str, object]:
        state, trouble = self._session.state, ""
        try:
            codes = self._vaults.facts(holder_of(visitor))
            names = self._vaults.names(holder_of(visitor))
        except StoreError as error:
            codes, names, trouble = (), (), str(error)
        notes = [
            (finding, SEVERITY_WORDS[finding.severity], f"{source(finding.source)}{', ' + finding.clause if finding.clause else ''}")
            for finding in judge_codes(state.appraisal, codes)
        ]
        return {"parts": parts_of(state.job, names, codes), "notes": notes, "usual": usual_names(state.job), "trouble": trouble}

    def after(self, request: Request, act: Callable[[], None]) -> Response:
        """Do something and return the inside of the room as it is then, or words that say why it was not done."""
        try:
            act()
        except (Shut, StoreError, Wait) as error:
            return refused(error)
        return JSONResponse({"problem": "", "sheet": self.of(request)})


def refused(error: Exception) -> Response:
    """Return the words for what was not done."""
    if isinstance(error, Wait):
        return JSONResponse({"problem": str(error)}, status_code=BUSY, headers={"Retry-After": str(error.seconds)})
    # The words of the store hold nothing of what was typed.
    return JSONResponse({"problem": "The vault is closed. Open it again." if isinstance(error, Shut) else str(error)})


def _secret(typed: SecretStr, again: SecretStr | None = None) -> Secret:
    """Return what was typed. Raises StoreError when it was not the same twice, or is no text."""
    try:
        secret, once_more = Secret(typed.get_secret_value()), None if again is None else Secret(again.get_secret_value())
    except ValueError:
        raise StoreError("What was typed holds something that is not a character.") from None
    if once_more is not None and secret != once_more:
        raise StoreError("What was typed is not the same twice. Nothing was changed.")
    return secret


def _add_nothing(app: FastAPI) -> None:
    @app.get("/secrets/sheet")
    @demands(Right.READ_SECRETS)
    def inside() -> Response:
        return JSONResponse({"problem": "This job is kept in no file here, so there is no vault beside it."})


def _add_opening(app: FastAPI, sheet: Sheet, vaults: OpenVaults) -> None:
    # Plain functions: the work of the passphrase is done in a thread of its own, not in the loop that answers everybody.
    @app.get("/secrets/sheet")
    @demands(Right.READ_SECRETS)
    def inside(request: Request) -> Response:
        return sheet.after(request, lambda: None)

    @app.post("/secrets/open")
    @demands(Right.READ_SECRETS)
    def unlock(asked: Opening, request: Request) -> Response:
        who, note = holder_of(visitor_of(request)), record_for(request, vaults.trail)
        return sheet.after(request, lambda: vaults.open(who, _secret(asked.passphrase), note=note))

    @app.post("/secrets/make")
    @demands(Right.CHANGE_SECRETS)
    def make(asked: Opening, request: Request) -> Response:
        who, note = holder_of(visitor_of(request)), record_for(request, vaults.trail)
        return sheet.after(request, lambda: vaults.make(who, _secret(asked.passphrase, asked.again), note=note))

    @app.post("/secrets/close")
    @demands(Right.READ_SECRETS)
    def close(request: Request) -> Response:
        return sheet.after(request, lambda: vaults.close(holder_of(visitor_of(request))))


def _add_reading(app: FastAPI, sheet: Sheet, vaults: OpenVaults) -> None:
    @app.post("/secrets/show")
    @demands(Right.READ_SECRETS)
    def show(asked: Naming, request: Request) -> Response:
        try:
            secret = vaults.vault(holder_of(visitor_of(request))).get(asked.name)
        except (Shut, StoreError) as error:
            return refused(error)
        return JSONResponse({"problem": "", "secret": secret.reveal(), "seconds": SHOWN_S})


def _add_changing(app: FastAPI, sheet: Sheet, vaults: OpenVaults) -> None:
    @app.post("/secrets/put")
    @demands(Right.CHANGE_SECRETS)
    def put(asked: Putting, request: Request) -> Response:
        who = holder_of(visitor_of(request))
        return sheet.after(request, lambda: vaults.vault(who).put(asked.name, _secret(asked.secret, asked.again)))

    @app.post("/secrets/remove")
    @demands(Right.CHANGE_SECRETS)
    def remove(asked: Naming, request: Request) -> Response:
        who = holder_of(visitor_of(request))
        return sheet.after(request, lambda: vaults.vault(who).remove(asked.name))
