"""The addresses at which the people are kept. The password is asked for again before, and a first password is made here, not chosen."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from datetime import timedelta
from typing import Annotated, Any

from fastapi import FastAPI, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from loopwright.store.audit import parsed
from loopwright.store.door import Inside, SignedIn
from loopwright.store.file import StoreError
from loopwright.store.people import People
from loopwright.store.person import Person, Right, Role
from loopwright.store.secret import Secret
from loopwright.web.drawn import Outside
from loopwright.web.entrance import PROVED_FOR, Entrance
from loopwright.web.rights import NotAllowed, demands
from loopwright.web.rooms.people import MOST_LINES, fixed_for, view
from loopwright.web.vault_asked import forget_gone
from loopwright.web.visitor import visitor_of

GIVEN_FOR = timedelta(days=3)
NOT_DONE = 422
LETTERS, GROUP, GROUPS = "abcdefghjkmnpqrstuvwxyz23456789", 5, 4
"""Letters and digits that are not taken for one another when they are read out; twenty of them are 99 bits."""
Field = Annotated[str, Form()]


def first_password() -> Secret:
    """Return a password for somebody to come in with once and change."""
    return Secret("-".join("".join(secrets.choice(LETTERS) for _ in range(GROUP)) for _ in range(GROUPS)))


def add_people(app: FastAPI, draw: Outside, entrance: Entrance) -> None:
    """Add the room of the people, and what is posted from it."""
    room = PeopleRoom(draw, entrance)

    @app.get("/people")
    @demands(Right.KEEP_PEOPLE)
    def people(request: Request) -> Response:
        return room.page(request)

    @app.post("/people/prove")
    @demands(Right.KEEP_PEOPLE)
    def prove(request: Request, password: Field = "") -> Response:
        done = entrance.door.prove(request.state.token, Secret(password), now=entrance.clock())
        if isinstance(done, SignedIn):
            request.state.next_token = done.token
            return RedirectResponse("/people", status_code=303)
        wait = f" The next try is looked at in {done.wait_s} s." if done.wait_s else ""
        return room.page(request, done.words + wait, refused=True)

    @app.post("/people/add")
    @demands(Right.KEEP_PEOPLE)
    def add(request: Request, name: Field = "", role: Field = "") -> Response:
        password, until = first_password(), entrance.clock() + GIVEN_FOR

        def act(people: People) -> None:
            people.add(name, _role(role), password, given_until=until)

        return room.after(request, None, act, shown=(name, password))

    @app.get("/people/trail")
    @demands(Right.KEEP_PEOPLE)
    def trail(request: Request) -> Response:
        return room.trail(request)

    _add_changes(app, room, entrance)


def _add_changes(app: FastAPI, room: PeopleRoom, entrance: Entrance) -> None:
    """Add what changes somebody who is there."""

    @app.post("/people/role")
    @demands(Right.KEEP_PEOPLE)
    def role(request: Request, name: Field = "", role: Field = "") -> Response:
        return room.after(request, name, lambda people: people.set_role(name, _role(role)))

    @app.post("/people/out")
    @demands(Right.KEEP_PEOPLE)
    def out(request: Request, name: Field = "") -> Response:
        return room.after(request, name, lambda people: people.set_active(name, active=False))

    @app.post("/people/in")
    @demands(Right.KEEP_PEOPLE)
    def back(request: Request, name: Field = "") -> Response:
        return room.after(request, name, lambda people: people.set_active(name, active=True))

    @app.post("/people/sessions")
    @demands(Right.KEEP_PEOPLE)
    def sessions(request: Request, name: Field = "") -> Response:
        note = entrance.audit.signed(visitor_of(request).name).note
        return room.after(request, name, lambda _: entrance.door.turn_out(name, note=note))

    @app.post("/people/codes")
    @demands(Right.KEEP_PEOPLE)
    def codes(request: Request, name: Field = "") -> Response:
        return room.after(request, name, lambda people: people.drop_one_time(name))

    @app.post("/people/password")
    @demands(Right.KEEP_PEOPLE)
    def password(request: Request, name: Field = "") -> Response:
        made, until = first_password(), entrance.clock() + GIVEN_FOR
        return room.after(request, name, lambda people: people.set_password(name, made, given_until=until), shown=(name, made))


class PeopleRoom:
    """Draws the people, and makes a change only for who may make it and has given the password lately."""

    def __init__(self, draw: Outside, entrance: Entrance) -> None:
        self._draw = draw
        self._entrance = entrance

    def page(self, request: Request, words: str = "", *, refused: bool = False, shown: tuple[str, Secret] | None = None) -> Response:
        """Return the room; ``shown`` is whose first password stands on it, this once."""
        inside: Inside = request.state.inside
        try:
            everybody = self._entrance.people.everybody().values()
            lines = self._entrance.audit.lines()
        except StoreError as error:
            everybody, lines, words, refused = (), [], str(error), True  # type: ignore[assignment]
        rows = [(each, self._entrance.door.sessions_of(each.name)) for each in sorted(everybody, key=lambda each: each.name.casefold())]
        more: dict[str, Any] = {"given": shown[0], "password": shown[1].reveal()} if shown else {"given": "", "password": ""}
        page = self._draw.alone(
            "people.html", visitor=visitor_of(request), words=words, refused=refused, proved=self._proved(inside), me=inside.person,
            **view(inside.person, rows, lines), **more,
        )  # fmt: skip
        return HTMLResponse(page, status_code=NOT_DONE if refused else 200)

    def after(
        self, request: Request, name: str | None, act: Callable[[People], None], *, shown: tuple[str, Secret] | None = None
    ) -> Response:
        """Make a change to somebody, None for a new one, and return the room. Raises NotAllowed."""
        inside: Inside = request.state.inside
        if not self._proved(inside):
            return self.page(request, "Give your password again first.", refused=True)
        try:
            if name is not None:
                self._see_that_allowed(inside.person, name)
            # Noted in the name of whoever keeps them.
            act(self._entrance.people.noting(self._entrance.audit.signed(inside.person.name).note))
        except (StoreError, ValueError) as error:
            return self.page(request, str(error), refused=True)
        forget_gone(request)
        return self.page(request, shown=shown) if shown else RedirectResponse("/people", status_code=303)

    def trail(self, request: Request) -> Response:
        """Return the latest of the trail, the last line first, and what is wrong with any of it."""
        audit = self._entrance.audit
        try:
            raw = audit.lines()
            troubles = audit.verify()
        except StoreError as error:
            return self.page(request, str(error), refused=True)
        lines = [found[0] if (found := parsed(each)) else None for each in raw[-MOST_LINES:]]
        numbered = list(zip(range(max(1, len(raw) - MOST_LINES + 1), len(raw) + 1), lines, strict=True))
        return HTMLResponse(
            self._draw.alone(
                "trail.html", visitor=visitor_of(request), lines=numbered[::-1], troubles=troubles, many=len(raw), most=MOST_LINES
            )
        )

    def _see_that_allowed(self, keeper: Person, name: str) -> None:
        found = self._entrance.people.everybody().get(name)
        if found is not None and (why := fixed_for(keeper, found)):
            raise NotAllowed("Nobody changes their own entry here." if keeper.name == name else f"{name} is the owner: {why}.")

    def _proved(self, inside: Inside) -> bool:
        return self._entrance.clock() - inside.session.proved_at < PROVED_FOR


def _role(word: str) -> Role:
    try:
        return Role(word)
    except ValueError:
        raise StoreError("There is no such role.") from None
