"""What everybody keeps of their own: the password, one-time codes, and where they are signed in."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import FastAPI, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from loopwright.store.door import Inside, Refused, SignedIn
from loopwright.store.file import StoreError
from loopwright.store.person import Right
from loopwright.store.secret import Secret
from loopwright.web.drawn import Outside
from loopwright.web.entrance import SIGN_IN, Entrance
from loopwright.web.pattern import pattern
from loopwright.web.rights import Open, demands
from loopwright.web.vault_asked import forget_gone
from loopwright.web.visitor import visitor_of

NOT_DONE = 422
DONE = {
    "password": "The password is changed. You are signed out everywhere else.",
    "codes": "From the next sign-in on a one-time code is asked for as well.",
    "dropped": "One-time codes are asked for no more.",
    "ended": "That session is ended.",
}
Field = Annotated[str, Form()]


def add_own_entry(app: FastAPI, draw: Outside, entrance: Entrance) -> None:
    """Add the page of a person's own entry and what is posted from it."""
    own = OwnEntry(draw, entrance)

    @app.get("/you")
    @demands(Open.SIGNED_IN)
    def you(request: Request, done: str = "") -> Response:
        return own.page(request, DONE.get(done, ""))

    @app.post("/you/password")
    @demands(Open.SIGNED_IN)
    def password(request: Request, old: Field = "", new: Field = "", again: Field = "") -> Response:
        if new != again:
            return own.page(request, "The new password was not the same twice.", refused="password")
        try:
            done = entrance.door.change_password(request.state.token, Secret(old), Secret(new), now=entrance.clock())
        except StoreError as error:
            return own.page(request, str(error), refused="password")
        if isinstance(done, SignedIn):
            request.state.next_token = done.token
            forget_gone(request)
            return own.done("password")
        return own.refused(request, done, "password")

    @app.post("/you/sessions")
    @demands(Open.SIGNED_IN)
    def end_sessions(request: Request, number: Field = "") -> Response:
        inside: Inside = request.state.inside
        entrance.door.turn_out(inside.person.name, number=number or None)
        forget_gone(request)
        if number and number != inside.session.number:
            return own.done("ended")
        response = RedirectResponse(SIGN_IN, status_code=303)
        entrance.forget(response)
        return response

    _add_codes(app, own, entrance)


def _add_codes(app: FastAPI, own: OwnEntry, entrance: Entrance) -> None:
    @app.post("/you/codes/begin")
    @demands(Open.SIGNED_IN)
    def begin(request: Request, password: Field = "") -> Response:
        try:
            made = entrance.door.start_codes(request.state.token, Secret(password), now=entrance.clock())
        except StoreError as error:
            return own.page(request, str(error), refused="codes")
        return own.refused(request, made, "codes") if isinstance(made, Refused) else own.shown(request, made)

    @app.post("/you/codes/confirm")
    @demands(Open.SIGNED_IN)
    def confirm(request: Request, password: Field = "", code: Field = "") -> Response:
        digits = Secret("".join(code.split()))
        try:
            refused = entrance.door.confirm_codes(request.state.token, Secret(password), digits, now=entrance.clock())
        except StoreError as error:
            return own.page(request, f"{error} Begin anew.", refused="codes")
        return own.done("codes") if refused is None else own.refused(request, refused, "codes")

    @app.post("/you/codes/end")
    @demands(Open.SIGNED_IN)
    def end(request: Request, password: Field = "") -> Response:
        refused = entrance.door.drop_codes(request.state.token, Secret(password), now=entrance.clock())
        return own.done("dropped") if refused is None else own.refused(request, refused, "codes")


class OwnEntry:
    """Draws the page of a person's own entry."""

    def __init__(self, draw: Outside, entrance: Entrance) -> None:
        self._draw = draw
        self._entrance = entrance

    def page(self, request: Request, words: str, *, refused: str = "") -> Response:
        """Return the page; ``refused`` names the part something was wrong in."""
        inside: Inside = request.state.inside
        page = self._draw.alone(
            "you.html", visitor=visitor_of(request), person=inside.person, here=inside.session, words=words, refused=refused,
            rights=[right.value for right in Right if inside.person.may(right)],
            sessions=self._entrance.door.sessions_of(inside.person.name),
        )  # fmt: skip
        return HTMLResponse(page, status_code=NOT_DONE if refused else 200)

    def done(self, what: str) -> Response:
        """Return the way back to the page, where it says what was done."""
        return RedirectResponse(f"/you?done={what}", status_code=303)

    def refused(self, request: Request, refused: Refused, part: str) -> Response:
        """Return the page with what was wrong."""
        wait = f" The next try is looked at in {refused.wait_s} s." if refused.wait_s else ""
        return self.page(request, refused.words + wait, refused=part)

    def shown(self, request: Request, secret: Secret) -> Response:
        """Return the page that shows a new secret for one-time codes, once."""
        name = visitor_of(request).name
        bare = secret.reveal()
        # Key URI as authenticators read it: the label, then the secret in base 32 without padding (common practice, no standard).
        address = f"otpauth://totp/Loopwright:{quote(name)}?secret={bare.rstrip('=')}&issuer=Loopwright"
        groups = " ".join(bare[at : at + 4] for at in range(0, len(bare), 4))
        page = self._draw.alone("codes.html", visitor=visitor_of(request), seen=pattern(address), groups=groups)
        return HTMLResponse(page)
