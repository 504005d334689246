"""Rooms as HTML: one frame, one template a room, the figures' workings and the forms."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MethodType
from typing import Any

from fastapi import HTTPException
from jinja2 import Environment, PackageLoader, StrictUndefined
from jinja2.runtime import Context

from loopwright.job.speech import plain_words
from loopwright.web.desking import Desk
from loopwright.web.form import form_of
from loopwright.web.fragment import Drawings
from loopwright.web.page import Page, Query, working_of
from loopwright.web.past import Past
from loopwright.web.proving import Proving
from loopwright.web.rehearsed import Rehearsed
from loopwright.web.rights import MAY_NOT, TO_EDIT, refuse
from loopwright.web.rooms.register import ROOMS, Room
from loopwright.web.session import Session
from loopwright.web.steps import Steps
from loopwright.web.visiting import OnSite
from loopwright.web.visitor import Visitor
from loopwright.web.working import figure_of


class _Context(Context):
    """Calls a page's own methods straight: Jinja would ask each of a thousand calls whether it wants the context."""

    def call(self, called: Any, /, *args: Any, **named: Any) -> Any:  # noqa: ANN401 - whatever a template calls
        """Return what a call in a template gives."""
        if type(called) is MethodType and type(called.__self__) is Page:
            named.pop("_block_vars", None)
            named.pop("_loop_vars", None)
            return called(*args, **named)
        return super().call(called, *args, **named)


@cache
def templates() -> Environment:
    """Return what draws pages: the same for every job."""
    # Templates come with the program: whether one was changed meanwhile need not be asked of the disk for each part of each page.
    made = Environment(
        loader=PackageLoader("loopwright.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    made.context_class = _Context
    made.filters["words"] = plain_words
    made.filters["capital"] = lambda text: text[:1].upper() + text[1:]
    return made


class Outside:
    """Draws pages that show nothing of a job; ``several`` says that there is a list of premises above it."""

    def __init__(self, version: str, *, several: bool = False) -> None:
        self.version = version
        self.several = several
        self.templates = templates()

    def alone(self, template: str, **values: Any) -> str:  # noqa: ANN401 - whatever the template draws
        """Return a page that shows nothing of the job."""
        return self.templates.get_template(template).render(version=self.version, several=self.several, **values)


class Drawn(Outside):
    """Draws rooms as HTML."""

    def __init__(self, session: Session, version: str, *, several: bool = False) -> None:
        super().__init__(version, several=several)
        self.session = session
        self.steps = Steps(session)
        self.past = Past(session)
        self.on_site: OnSite | None = None
        self.prove: Proving | None = None
        self.desk: Desk | None = None
        self.rehearsed = Rehearsed()
        self.drawings = Drawings()
        self.rooms = {room.key: room for room in ROOMS}

    def room(self, key: str, query: Query, visitor: Visitor, *, look: bool = False, held: str = "") -> str:
        """Return a room at the present revision, as a visitor may see it; with ``look`` it says when the file on disk is newer.

        What takes seconds to search is not waited for at a look, unless it is asked for: the page asks once it stands.
        What a page holds already, that was drawn under the name ``held``, is left out of it.

        Raises HTTPException when there is none of that name, NotAllowed when it is not for the visitor.
        """
        room = self.rooms.get(key)
        if room is None:
            raise HTTPException(404)
        refuse(visitor, room.right)
        elsewhere = self.session.elsewhere() if look else ""
        page = Page(
            state=self.session.state, room=key, query=query, past=self.past, on_site=self.on_site, prove=self.prove, desk=self.desk,
            rehearsed=self.rehearsed, first_look=look and "verdict" not in dict(query.asked),
        )  # fmt: skip
        name = self.drawings.name()
        html = self.templates.get_template(f"{key}.html").render(
            **self._frame(page, room, visitor), drawn=name, steps=self.steps.of(visitor.name), elsewhere=elsewhere, **room.view(page)
        )
        return self.drawings.sent(html, name, held)

    def _frame(self, page: Page, room: Room, visitor: Visitor) -> dict[str, Any]:
        return {
            "page": page, "here": room, "rooms": [each for each in ROOMS if visitor.may(each.right)], "job": page.job,
            "visitor": visitor, "fixed": not visitor.may(room.changing), "may_not": MAY_NOT[room.changing],
            "may_note": bool(visitor.rights & TO_EDIT),
            "version": self.version, "several": self.several, "file": self.session.file.name, "copied": self.session.copied(),
        }  # fmt: skip

    def working(self, key: str) -> str:
        """Return a figure's working as a page of its own. Raises HTTPException when there is no such figure."""
        figure = figure_of(self.session.state.appraisal, key)
        if figure is None:
            raise HTTPException(404)
        return self.templates.get_template("working.html").render(
            figure=figure, body=working_of(figure, heading="h2"), version=self.version, job=self.session.state.job
        )

    def form(self, what: str, given: Mapping[str, str]) -> str:
        """Return the form that puts something into a part of the document, some fields filled in beforehand.

        Raises HTTPException where nothing can be put in.
        """
        form = form_of(self.session.state.job, what, given)
        if form is None:
            raise HTTPException(404)
        return self.templates.get_template("form.html").render(form=form)
