"""The way in to the API: a token in the request's own header, so that no page of another site can use it, and no cookie is needed."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime

from starlette.requests import Request
from starlette.responses import Response

from loopwright.job.tree import MOST_BYTES
from loopwright.store.api_token import ApiTokens
from loopwright.store.file import StoreError
from loopwright.store.secret import Secret
from loopwright.web.api.problem import problem
from loopwright.web.visitor import NOBODY, Visitor
from loopwright.web.within import within

ROOT = "/api"
DOCUMENT = f"{ROOT}/openapi.json"
MOST_POSTED = MOST_BYTES + 100_000
"""A whole document, and room for what stands around it."""
LONGEST_TOKEN, MOST_DIGITS = 200, 20
CHALLENGE = {"WWW-Authenticate": 'Bearer realm="Loopwright"'}
NO_TOKEN = "Send a token: Authorization: Bearer TOKEN. `loopwright token FILE make NAME` makes one at the machine."
NOTHING = "There is nothing at this address."
NOT_A_TOKEN = "That is no token of this job, or it has ended."


def in_api(request: Request) -> bool:
    """Return whether a request is for the API."""
    path = within(request.url.path)
    return path == ROOT or path.startswith(f"{ROOT}/")


class ApiEntry:
    """Finds out whose token a request carries. ``tokens`` says which count at a path; where it says None, nobody is let in."""

    def __init__(self, tokens: Callable[[str], ApiTokens | None], clock: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        """Take the tokens that count, and the clock they end by."""
        self._tokens = tokens
        self._clock = clock

    def __call__(self, request: Request) -> Response | None:
        """Put the visitor on the request, or return the answer that refuses it."""
        if within(request.url.path) == DOCUMENT:
            # The same for every job, and no secret; but no job is opened for who may not read it.
            request.state.visitor = NOBODY
            with suppress(StoreError):
                request.state.visitor = self._visitor(request) or NOBODY
            return None
        if too_much := _too_much(request):
            return too_much
        try:
            visitor = self._visitor(request)
        except StoreError as error:
            return problem(503, str(error))
        if visitor is None:
            said = "authorization" in request.headers
            return problem(401, NOT_A_TOKEN if said else NO_TOKEN, headers=CHALLENGE)
        request.state.visitor = visitor
        # An address that is no text on one line is nobody's, and would be looked for outside the API.
        return None if request.url.path.isprintable() else problem(404, NOTHING)

    def _visitor(self, request: Request) -> Visitor | None:
        scheme, _, given = request.headers.get("authorization", "").partition(" ")
        given = given.strip()
        tokens = self._tokens(request.url.path)
        if tokens is None or scheme.lower() != "bearer" or not 0 < len(given) <= LONGEST_TOKEN:
            return None
        found = tokens.find(Secret(given), now=self._clock())
        return None if found is None else Visitor(name=f"{found.name} (token)", rights=found.rights)


def _too_much(request: Request) -> Response | None:
    if "transfer-encoding" in request.headers:
        return problem(411, "Say how long the body is (Content-Length).")
    length = request.headers.get("content-length", "0")
    if not length.isascii() or not length.isdecimal() or len(length) > MOST_DIGITS or int(length) > MOST_POSTED:
        return problem(413, f"At most {MOST_POSTED} bytes are taken at once.")
    return None
