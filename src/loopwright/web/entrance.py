"""The way in from the local network: who a request comes from, whose session it carries, and the cookie for the next one.

The server itself speaks TLS, or a proxy of the user's own does and says whom it speaks for. Nobody who comes in here is taken for somebody
who sits at the machine and holds the key; the owner on this machine's own addresses is only never made to wait.
"""

from __future__ import annotations

import ipaddress
import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response

from loopwright.store.attempt import Source
from loopwright.store.audit import Audit
from loopwright.store.door import OVERLAP, Door, Inside, sitting
from loopwright.store.file import StoreError
from loopwright.store.people import People
from loopwright.store.person import Right
from loopwright.store.secret import Secret
from loopwright.web.refusal import is_visit
from loopwright.web.visitor import NOBODY, Visitor
from loopwright.web.within import within

if TYPE_CHECKING:
    from loopwright.store.certificate import Certificate

SIGN_IN, STATIC = "/sign-in", "/static/"
BY_ITSELF = frozenset({"/revision", "/prove/news", "/away.js"})
"""What a page that lies open asks for again and again; nobody need be sitting before it."""
ALONE = "loopwright-by-itself"
"""The header of whatever else a page asks for though nobody pressed anything."""
TURN_AFTER = timedelta(minutes=15)
"""So old a token is exchanged for another one when a page is asked for."""
PROVED_FOR = timedelta(minutes=15)
"""So long after the password was given the people may be kept."""
SIGNED_OUT = "You are signed out. Sign in again; what you entered stays in this tab.\n"
NO_PEOPLE = "Nobody can be let in at this moment: the list of people cannot be read.\n"
NETWORK_BITS = 64
"""One place of IPv6 has so many bits of its own to choose from; it is counted as one."""
STRICT_TRANSPORT = "max-age=31536000"
_LOG = logging.getLogger("loopwright.entrance")


@dataclass(frozen=True, kw_only=True, slots=True)
class Ways:
    """How the workbench is reached: the addresses people open, the names it answers to, its certificate or the proxy before it."""

    addresses: tuple[str, ...]
    hosts: frozenset[str]
    port: int
    certificate: Certificate | None = None
    proxy: str = ""


class Entrance:
    """Lets people in by their session, and knows nothing of what is inside."""

    def __init__(
        self, *, door: Door, people: People, audit: Audit, ways: Ways, clock: Callable[[], datetime] = lambda: datetime.now(UTC)
    ) -> None:
        """Take the door, the people behind it, the trail that both note in, and how the workbench is reached."""
        self.door = door
        self.people = people
        self.audit = audit
        self.ways = ways
        self.clock = clock
        # One host has one jar of cookies for all its ports, so the port stands in the name.
        self.cookie = f"__Host-loopwright-{ways.port}"

    def stranger(self, request: Request) -> Response | None:
        """Return the answer to whoever goes round the proxy; None where there is none, or the request came by it."""
        if not self.ways.proxy:
            return None
        if _peer(request) != self.ways.proxy:
            return PlainTextResponse("Only the proxy before this program may speak to it.\n", status_code=403)
        if request.headers.get("x-forwarded-proto", "") != "https" or _handed_on(request) is None:
            words = "The proxy has to say for whom it speaks (X-Forwarded-For) and that they came by HTTPS (X-Forwarded-Proto).\n"
            return PlainTextResponse(words, status_code=403)
        return None

    def admit(self, request: Request) -> Response | None:
        """Put the visitor on the request, or return the answer that asks who it is."""
        request.state.visitor = NOBODY
        path = request.scope["path"]
        if path.startswith(STATIC):
            return None
        try:
            inside = self.recognise(request)
        except StoreError as error:
            _LOG.error("%s", error)
            return PlainTextResponse(NO_PEOPLE, status_code=503)
        if path == SIGN_IN:
            return None
        return self._asked(request) if inside is None else None

    def recognise(self, request: Request) -> Inside | None:
        """Put on the request whose session its cookie stands for. Raises StoreError."""
        given, now = request.cookies.get(self.cookie, ""), self.clock()
        by_hand = within(request.scope["path"]) not in BY_ITSELF and ALONE not in request.headers
        inside = self.door.inside(Secret(given), now=now, by_hand=by_hand) if given else None
        if inside is None:
            return None
        person, session = inside
        given_password = person.given_until is not None
        rights = frozenset(right for right in Right if person.may(right) and not given_password)
        request.state.visitor = Visitor(
            name=person.name, rights=rights, sitting=sitting(person, session), given_password=given_password
        )  # fmt: skip
        request.state.inside, request.state.token = inside, Secret(given)
        if by_hand and request.method == "GET" and is_visit(request) and now - session.turned_at >= TURN_AFTER:
            # A page is asked for: the browser waits for it and has nothing else under way but what the overlap covers.
            request.state.next_token = self.door.rotate(Secret(given), now=now, overlap=OVERLAP)
        return inside

    def sittings(self) -> frozenset[str]:
        """Return the marks of everybody who is in, as they are in; nobody's where that cannot be found out."""
        try:
            return self.door.sittings(now=self.clock())
        except StoreError as error:
            _LOG.error("%s", error)
            return frozenset()

    def sign(self, request: Request, response: Response) -> None:
        """Put the cookie of the next token on an answer, and the headers that hold where there is TLS."""
        token = getattr(request.state, "next_token", None)
        if isinstance(token, Secret):
            response.set_cookie(self.cookie, token.reveal(), secure=True, httponly=True, samesite="strict", path="/")
        # Forms of this program name it as their origin only under this policy; no address of it holds a secret.
        response.headers["Referrer-Policy"] = "same-origin"
        if not self.source_of(request).loopback:
            response.headers["Strict-Transport-Security"] = STRICT_TRANSPORT

    def forget(self, response: Response) -> None:
        """Have the browser throw away the cookie, and what pages have kept in it."""
        response.delete_cookie(self.cookie, secure=True, httponly=True, samesite="strict", path="/")
        response.headers["Clear-Site-Data"] = '"storage"'

    def source_of(self, request: Request) -> Source:
        """Return where a request comes from. Who comes by a proxy is never at this machine."""
        address = _handed_on(request) if self.ways.proxy else _peer(request)
        if address is None:
            return Source("unknown", loopback=False)
        try:
            found = ipaddress.ip_address(address)
        except ValueError:
            return Source("unknown", loopback=False)
        here = found.is_loopback and not self.ways.proxy
        if isinstance(found, ipaddress.IPv6Address) and not here:
            return Source(str(ipaddress.ip_network((found, NETWORK_BITS), strict=False)), loopback=False)
        return Source(str(found), loopback=here)

    def _asked(self, request: Request) -> Response:
        if not is_visit(request):
            return PlainTextResponse(SIGNED_OUT, status_code=401, headers={"WWW-Authenticate": 'Session realm="Loopwright"'})
        path, query = request.scope["path"], request.scope["query_string"].decode("latin-1")
        then = path + (f"?{query}" if query else "") if request.method == "GET" else "/"
        return RedirectResponse(SIGN_IN if then == "/" else f"{SIGN_IN}?then={quote(then[:2000], safe='/')}", status_code=303)


def _peer(request: Request) -> str:
    """Return the address a request came from, as one spelling: IPv4 as IPv4."""
    host = request.client.host if request.client else ""
    return host.removeprefix("::ffff:") if "." in host else host


def _handed_on(request: Request) -> str | None:
    """Return the address the proxy says it speaks for: the last one, which it added itself; None when it says none."""
    said = ",".join(request.headers.getlist("x-forwarded-for")).rpartition(",")[2].strip()
    try:
        return str(ipaddress.ip_address(said))
    except ValueError:
        return None


def local(then: str) -> str:
    """Return where to go after the sign-in: an address of this program, whatever was asked for.

    >>> local("/wiring?open=d:cables/W1"), local("//evil.example"), local("https://evil.example"), local("/\\\\\\\\evil.example")
    ('/wiring?open=d:cables/W1', '/', '/', '/')
    """
    inside = then.startswith("/") and not then.startswith(("//", "/\\")) and then.isprintable() and "\\" not in then
    return then if inside and len(then) <= 2000 else "/"
