"""Who may speak to the workbench: this machine's names only, this program's own pages only, and only who holds the key it printed.

A page of another site that has its name lead to this machine fails on ``Host``; one that posts across sites fails on ``Origin``;
another user of the machine has no key.
"""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from urllib.parse import urlsplit

from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response

from loopwright.web.visitor import Visitor

LOOPBACK = frozenset({"127.0.0.1", "localhost", "::1"})
MOST_POSTED = 256 * 1024
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
    '<!doctype html><html lang="en"><meta charset="utf-8"><meta http-equiv="refresh" content="0; url=/"><title>Loopwright</title>'
    '<link rel="icon" href="/static/mark.svg">'
    '<p><a href="/">To the front sheet</a></p>'
)
_SHUT = "Open the address that Loopwright printed when it was started; it holds the key to this job.\n"

Next = Callable[[Request], Awaitable[Response]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Guard:
    """Lets a request through or answers it: ``hosts`` are the names this program may be called by, ``token`` the key, if there is one.

    Whoever holds the key sits at this machine and is ``visitor``.
    """

    token: str | None
    visitor: Visitor
    hosts: frozenset[str] = LOOPBACK

    @property
    def cookie(self) -> str:
        """Return the cookie's name: one for each start, since cookies of one machine are shared by all its ports."""
        return f"loopwright-{hashlib.sha256((self.token or '').encode()).hexdigest()[:12]}"

    async def __call__(self, request: Request, call_next: Next) -> Response:
        """Answer a request, or have it answered, and put the headers on."""
        request.state.visitor = self.visitor
        response = self._refused(request) or self._let_in(request) or await call_next(request)
        for name, value in HEADERS.items():
            response.headers[name] = value
        if not request.url.path.startswith("/static/"):
            response.headers["Cache-Control"] = "no-store"
        return response

    def _refused(self, request: Request) -> Response | None:
        host = request.headers.get("host", "")
        if _name_of(host) not in self.hosts:
            return PlainTextResponse("This is not the address of this program.\n", status_code=421)
        if request.method not in ("GET", "HEAD"):
            origin = urlsplit(request.headers.get("origin", ""))
            if origin.scheme not in ("http", "https") or origin.netloc != host:
                return PlainTextResponse("Only this program's own pages may change the job.\n", status_code=403)
            length = request.headers.get("content-length", "")
            if not length.isdecimal() or int(length) > MOST_POSTED:
                return PlainTextResponse("That is too much to post at once.\n", status_code=413)
        return None

    def _let_in(self, request: Request) -> Response | None:
        if self.token is None or self._same(request.cookies.get(self.cookie, "")):
            return None
        if request.method == "GET" and request.url.path == "/" and self._same(request.query_params.get("key", "")):
            response = HTMLResponse(_LET_IN)
            response.set_cookie(self.cookie, self.token, httponly=True, samesite="strict", path="/")
            return response
        return PlainTextResponse(_SHUT, status_code=403)

    def _same(self, given: str) -> bool:
        return hmac.compare_digest(given.encode(), (self.token or "").encode())


def _name_of(host: str) -> str:
    """Return the name in a Host header, without the port.

    >>> _name_of('127.0.0.1:8417'), _name_of('[::1]:8417'), _name_of('a@127.0.0.1')
    ('127.0.0.1', '::1', 'a@127.0.0.1')
    """
    if host.startswith("["):
        return host[1:].partition("]")[0]
    return host.rpartition(":")[0] if ":" in host else host
