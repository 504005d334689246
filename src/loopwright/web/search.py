"""The address that is asked for what has a name. What is looked for is posted, so that it stands in no address and no history."""

from __future__ import annotations

from fastapi import FastAPI
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel, Field

from loopwright.store.person import Right
from loopwright.web.rights import demands
from loopwright.web.rooms.papers import WHAT
from loopwright.web.rooms.register import ROOMS
from loopwright.web.search_index import Index, index_of
from loopwright.web.session import Session, State

LONGEST_QUERY = 200


class Asked(BaseModel, extra="forbid"):
    """What is looked for."""

    words: str = Field(max_length=LONGEST_QUERY)


class Finder:
    """The index of the revision that was asked about last."""

    def __init__(self) -> None:
        self._revision = -1
        self._index = Index(())

    def of(self, state: State) -> Index:
        """Return the index of a revision, made when it is asked for."""
        if state.revision != self._revision:
            rooms = [(room.address, room.words) for room in ROOMS]
            self._index, self._revision = index_of(state.appraisal, rooms, WHAT), state.revision
        return self._index


def add_searching(app: FastAPI, session: Session) -> None:
    """Add the address a search is posted to."""
    finder = Finder()

    @app.post("/search")
    @demands(Right.READ_JOB)
    def search(asked: Asked) -> Response:
        found, many = finder.of(session.state).find(asked.words)
        return JSONResponse({"found": [each._asdict() for each in found], "many": many})
