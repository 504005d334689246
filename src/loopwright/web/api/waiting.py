"""Waiting for the job to change, for programs that would otherwise ask again and again."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request

from loopwright.web.api.answer import ANY, current, names_tag, tag_of
from loopwright.web.session import Session

LONGEST_WAIT_S = 30.0
LOOKED_S = 0.5
MOST_WAITING = 32
"""So many wait at a time; whoever comes then is answered at once."""


class Waiting:
    """Who waits for one job; nobody holds a worker meanwhile."""

    def __init__(self, session: Session) -> None:
        """Begin with nobody."""
        self._session = session
        self._many = 0

    async def until_changed(self, request: Request, known: str, wait_s: float) -> None:
        """Return when the job is no longer one of the known ETags, the other side has gone, or the time is over."""
        # Whatever it is never becomes anything else.
        if ANY not in known:
            await self.while_same(request, lambda: names_tag(known, self._tag(), weak=True), wait_s)

    async def while_same(self, request: Request, same: Callable[[], bool], wait_s: float) -> None:
        """Return when ``same`` says no, asked in a worker now and then, the other side has gone, or the time is over."""
        if self._many >= MOST_WAITING:
            return
        loop = asyncio.get_running_loop()
        end_s = loop.time() + wait_s
        self._many += 1
        gone = asyncio.create_task(_gone(request))
        try:
            while await run_in_threadpool(same):
                left_s = end_s - loop.time()
                if left_s <= 0 or gone.done():
                    return
                await asyncio.wait((gone,), timeout=min(LOOKED_S, left_s))
        finally:
            gone.cancel()
            self._many -= 1

    def _tag(self) -> str:
        return tag_of(current(self._session))


async def _gone(request: Request) -> None:
    """Return when the other side has gone.

    ``Request.is_disconnected`` looks without waiting, and behind a middleware of functions, which asks in a task of its own, that finds
    nothing ever.
    """
    while (await request.receive())["type"] != "http.disconnect":
        pass
