"""Who may speak to the workbench: this machine's names only, this program's own pages only, and only who holds the key it printed.

A page of another site that has its name lead to this machine fails on ``Host``; one that posts across sites fails on ``Origin``;
another user of the machine has no key.
"""

from __future__ import annotations

import hashlib
import hmac
import re
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from html import escape
from typing import Protocol
from urllib.parse import urlsplit

from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response

from loopwright.web.api.entry import ApiEntry, in_api
from loopwright.web.neighbour import is_own
from loopwright.web.visitor import Visitor
from loopwright.web.within import within

LOOPBACK = frozenset({"127.0.0.1", "localhost", "::1"})
MOST_POSTED, MOST_LISTED, MOST_DIGITS = 256 * 1024, 8_000_000, 20
LISTS = "/lists/"
"""Where whole lists are posted, which are longer than any single change."""
POLICY = "; ".join(
    (
        "default-src 'self'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "connect-src 'self'",
        "object-src 'none'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
# The page is answered rather than redirected, so that the next request comes from this site itself and carries the strict cookie.
_LET_IN = (
    '<!doctype html><html lang="en"><meta charset="utf-8"><meta http-equiv="refresh" content="0; url={first}"><title>Loopwright</title>'
    '<link rel="icon" href="/static/mark.svg">'
    '<p><a href="{first}">To the front sheet</a></p>'
)
_SHUT = "Open the address that Loopwright printed when it was started; it holds the key to this job.\n"

Next = Callable[[Request], Awaitable[Response]]
_OWN = "same-origin"
_HOST = re.compile(r"(?:\[([0-9a-f:.]+)\]|([a-z0-9._-]+))(?::[0-9]{1,5})?", re.IGNORECASE | re.ASCII)


class Entrance(Protocol):
    """The way in for people who are not at this machine, in place of the key."""

    def stranger(self, request: Request) -> Response | None:
        """Return the answer to a request that did not come the way requests come here."""

    def admit(self, request: Request) -> Response | None:
        """Put the visitor on the request, or return the answer that asks who it is."""

    def sign(self, request: Request, response: Response) -> None:
        """Put on the answer what the browser needs for the next request."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Guard:
    """Lets a request through or answers it: ``hosts`` are the names this program may be called by, ``token`` the key, if there is one.

    Whoever holds the key sits at this machine and is ``visitor``. With an ``entrance`` there is no key: everybody comes in by it.
    ``first`` is the address the key leads to.
    """

    token: str | None
    visitor: Visitor
    hosts: frozenset[str] = LOOPBACK
    api: ApiEntry | None = None
    entrance: Entrance | None = None
    first: str = "/"

    @property
    def cookie(self) -> str:
        """Return the cookie's name: one for each start, since cookies of one machine are shared by all its ports."""
        return f"loopwright-{hashlib.sha256((self.token or '').encode()).hexdigest()[:12]}"

    async def __call__(self, request: Request, call_next: Next) -> Response:
        """Answer a request, or have it answered, and put the headers on."""
        request.state.visitor = self.visitor
        response = self._before(request) or await call_next(request)
        for name, value in HEADERS.items():
            response.headers[name] = value
        if not request.url.path.startswith("/static/"):
            response.headers["Cache-Control"] = "no-store"
        if self.entrance is not None:
            self.entrance.sign(request, response)
        return response

    def _before(self, request: Request) -> Response | None:
        if refused := self._elsewhere(request):
            return refused
        if self.api is not None and in_api(request):
            # A token in a header of its own: no page of another site can send it, so neither cookie nor Origin is asked for.
            return self.api(request)
        return self._refused(request) or (self._let_in(request) if self.entrance is None else self.entrance.admit(request))

    def _elsewhere(self, request: Request) -> Response | None:
        if _name_of(request.headers.get("host", "")) not in self.hosts:
            return PlainTextResponse("This is not the address of this program.\n", status_code=421)
        return None if self.entrance is None else self.entrance.stranger(request)

    def _refused(self, request: Request) -> Response | None:
        host = request.headers.get("host", "")
        if request.method not in ("GET", "HEAD"):
            origin = urlsplit(request.headers.get("origin", ""))
            schemes = ("http", "https") if self.entrance is None else ("https",)
            if origin.scheme not in schemes or origin.netloc != host or request.headers.get("sec-fetch-site", _OWN) != _OWN:
                return PlainTextResponse("Only this program's own pages may change the job.\n", status_code=403)
            length, most = (
                request.headers.get("content-length", ""),
                MOST_LISTED if within(request.url.path).startswith(LISTS) else MOST_POSTED,
            )
            # A body that comes in pieces may be longer than it says.
            if "transfer-encoding" in request.headers or not _digits(length) or int(length) > most:
                return PlainTextResponse("That is too much to post at once.\n", status_code=413)
        return None

    def _let_in(self, request: Request) -> Response | None:
        if self.token is None:
            return None
        if not is_own(request.client, request.scope.get("server")):
            return PlainTextResponse(_SHUT, status_code=403)
        if self._same(request.cookies.get(self.cookie, "")):
            return None
        if request.method == "GET" and request.url.path == "/" and self._same(request.query_params.get("key", "")):
            response = HTMLResponse(_LET_IN.format(first=escape(self.first)))
            response.set_cookie(self.cookie, self.token, httponly=True, samesite="strict", path="/")
            return response
        return PlainTextResponse(_SHUT, status_code=403)

    def _same(self, given: str) -> bool:
        return hmac.compare_digest(given.encode(), (self.token or "").encode())


async def went_wrong(request: Request, error: Exception) -> Response:
    """Return the answer when this program itself is at fault; what is wrong stands in the log. It comes from outside the guard."""
    return PlainTextResponse(
        "Something went wrong in this program; the terminal it was started in says what.\n", 500, HEADERS | {"Cache-Control": "no-store"}
    )


def _digits(said: str) -> bool:
    return said.isascii() and said.isdecimal() and len(said) <= MOST_DIGITS


def _name_of(host: str) -> str:
    """Return the name in a Host header, without the port; empty when it is no name and port, and nothing else.

    >>> _name_of('127.0.0.1:8417'), _name_of('[::1]:8417'), _name_of('a@127.0.0.1'), _name_of('127.0.0.1:1/static/?')
    ('127.0.0.1', '::1', '', '')
    """
    found = _HOST.fullmatch(host)
    return (found[1] or found[2]).lower() if found else ""
