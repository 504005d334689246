"""The addresses of the entrance: signing in and out, and where on the network this is."""

from __future__ import annotations

from contextlib import suppress
from typing import Annotated

from fastapi import FastAPI, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from loopwright.store.door import SignedIn
from loopwright.store.file import StoreError
from loopwright.store.person import Right
from loopwright.store.secret import Secret
from loopwright.web.drawn import Outside
from loopwright.web.entrance import NO_PEOPLE, SIGN_IN, Entrance, local
from loopwright.web.keeping_people import add_people
from loopwright.web.own_entry import add_own_entry
from loopwright.web.pattern import pattern
from loopwright.web.rights import Open, demands
from loopwright.web.vault_asked import forget_gone
from loopwright.web.visitor import visitor_of

NOT_IN, WAITS, NOBODY_CAN = 401, 429, 503
Field = Annotated[str, Form()]


def add_entrance(app: FastAPI, draw: Outside, entrance: Entrance) -> None:
    """Add everything that is there only when people come in from elsewhere."""

    @app.exception_handler(StoreError)
    async def stopped(request: Request, error: StoreError) -> Response:
        # What cannot be noted, or looked up, is not done.
        page = draw.alone("refused.html", heading="This was not done", words=str(error), visitor=visitor_of(request), change=False)
        return HTMLResponse(page, status_code=NOBODY_CAN)

    _add_coming_in(app, draw, entrance)
    _add_ways(app, draw, entrance)
    add_own_entry(app, draw, entrance)
    add_people(app, draw, entrance)


def _add_coming_in(app: FastAPI, draw: Outside, entrance: Entrance) -> None:

    @app.get(SIGN_IN)
    @demands(Open.ANYBODY)
    def asked(then: str = "/") -> Response:
        return HTMLResponse(draw.alone("sign-in.html", then=local(then), words="", code=False))

    @app.post(SIGN_IN)
    @demands(Open.ANYBODY)
    def sign_in(request: Request, name: Field = "", password: Field = "", code: Field = "", then: Field = "/") -> Response:
        digits = "".join(code.split())
        try:
            done = entrance.door.sign_in(
                name, Secret(password), Secret(digits) if digits else None, source=entrance.source_of(request), now=entrance.clock()
            )  # fmt: skip
        except StoreError:
            return HTMLResponse(draw.alone("sign-in.html", then=local(then), words=NO_PEOPLE, code=bool(digits)), status_code=NOBODY_CAN)
        if isinstance(done, SignedIn):
            _leave_before(request, entrance)
            forget_gone(request)
            request.state.next_token = done.token
            return RedirectResponse(local(then), status_code=303)
        words = f"{done.words} The next try is looked at in {_time(done.wait_s)}." if done.wait_s else done.words
        page = draw.alone("sign-in.html", then=local(then), words=words, code=bool(digits))
        wait = {"Retry-After": str(done.wait_s)} if done.wait_s else {}
        return HTMLResponse(page, status_code=WAITS if done.wait_s else NOT_IN, headers=wait)

    @app.post("/sign-out")
    @demands(Open.SIGNED_IN)
    def sign_out(request: Request) -> Response:
        _leave_before(request, entrance)
        forget_gone(request)
        with suppress(StoreError):
            # Out is out, whether or not it can be noted.
            entrance.audit.signed(visitor_of(request).name).note("signed out", visitor_of(request).name)
        response = RedirectResponse(SIGN_IN, status_code=303)
        entrance.forget(response)
        return response


def _add_ways(app: FastAPI, draw: Outside, entrance: Entrance) -> None:
    ways = entrance.ways

    @app.get("/ways-in")
    @demands(Right.READ_JOB)
    def ways_in(request: Request) -> Response:
        seen = pattern(ways.addresses[0]) if ways.addresses else ""
        return HTMLResponse(draw.alone("ways-in.html", visitor=visitor_of(request), ways=ways, seen=seen))

    @app.get("/ways-in/certificate.pem")
    @demands(Right.READ_JOB)
    def certificate() -> Response:
        if ways.certificate is None:
            return Response(status_code=404)
        named = {"Content-Disposition": 'attachment; filename="loopwright-certificate.pem"'}
        return Response(ways.certificate.pem, media_type="application/x-pem-file", headers=named)


def _leave_before(request: Request, entrance: Entrance) -> None:
    """End the session a request came with: nobody stays in behind who signs in now, and no token is taken over."""
    token = getattr(request.state, "token", None)
    if isinstance(token, Secret):
        entrance.door.sign_out(token)


def _time(seconds: int) -> str:
    """Return a wait in words.

    >>> _time(1), _time(40), _time(900)
    ('1 second', '40 seconds', '15 minutes')
    """
    number, word = (seconds, "second") if seconds < 100 else (-(-seconds // 60), "minute")
    return f"{number} {word}{'' if number == 1 else 's'}"
