"""How files and pages travel: what a browser has already is not sent again, and over a network pages are packed.

Packing text that holds a secret beside something a stranger chose lets the stranger guess the secret by the length (the BREACH attack,
Gluck, Harris and Prado 2013: from memory). Packed are therefore only the program's own files and the rooms that show no secret, and a
stranger's page cannot ask for these in a visitor's name: the cookie is a strict one. On this machine nothing is packed; it would only
cost time.
"""

from __future__ import annotations

import stat
from hashlib import blake2b
from ipaddress import ip_address
from mimetypes import guess_type
from pathlib import Path

from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Receive, Scope, Send

from loopwright.web.within import within

LEVEL, LEAST_BYTES = 4, 1000
OPEN_ROOMS = frozenset({"/", "/premises", "/kit", "/wiring", "/power", "/programme", "/papers"})
FILES = "/static/"


class Packing(GZipMiddleware):
    """Packs what may be packed, for who is not at this machine."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, packed or as it is."""
        if scope["type"] == "http" and scope["method"] == "GET" and _is_open(scope["path"]) and not at_this_machine(scope):
            await super().__call__(scope, receive, send)
        else:
            await self.app(scope, receive, send)


def _is_open(path: str) -> bool:
    return within(path) in OPEN_ROOMS or path.startswith(FILES)


def at_this_machine(scope: Scope) -> bool:
    """Return whether a request comes from this machine itself."""
    client = scope.get("client")
    try:
        return client is not None and ip_address(client[0]).is_loopback
    except ValueError:
        return False


class OwnFiles(StaticFiles):
    """The program's own files: one asked for with the mark of its content is kept for good, another is asked after each time.

    They are few and small, so they are answered from memory: a page asks for a dozen of them at once.
    """

    def __init__(self, *, directory: str) -> None:
        """Read nothing yet."""
        super().__init__(directory=directory)
        self._read: dict[str, tuple[int, bytes, str]] = {}

    async def get_response(self, path: str, scope: Scope) -> Response:
        """Return a file, or that it is still the same. Raises HTTPException where there is none, or something else is wanted of it."""
        if scope["method"] not in ("GET", "HEAD"):
            raise HTTPException(405)
        full, found = self.lookup_path(path)
        if found is None or not stat.S_ISREG(found.st_mode):
            raise HTTPException(404)
        known = self._read.get(full)
        if known is None or known[0] != found.st_mtime_ns:
            body = Path(full).read_bytes()
            known = self._read[full] = (found.st_mtime_ns, body, f'"{blake2b(body, digest_size=16).hexdigest()}"')
        _, body, tag = known
        marked = scope.get("query_string", b"").startswith(b"v=")
        headers = {"Cache-Control": "public, max-age=31536000, immutable" if marked else "no-cache", "ETag": tag}
        if tag in Headers(scope=scope).get("if-none-match", ""):
            return Response(status_code=304, headers=headers)
        return Response(body, headers=headers, media_type=guess_type(full)[0] or "text/plain")
