"""A receiver in a thread of its own, for a program that has a loop, or none, of its own."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from concurrent.futures import Future
from datetime import datetime

from loopwright.receiver.intake import Bench
from loopwright.receiver.server import NotOpened, Place, Receiver, opened

START_S = 30.0


class Running:
    """A receiver that was started; ``stop`` ends it, and its hour does. The listener of its bench is called in its thread."""

    def __init__(self, place: Place, bench: Bench) -> None:
        """Open the port and begin. Raises NotOpened."""
        self.place = place
        self._opened: Future[Receiver] = Future()
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._run, args=(place, bench), name="receiver", daemon=True)
        self._thread.start()
        self._receiver = self._opened.result(START_S)

    @property
    def port(self) -> int:
        """The port that is open."""
        return self._receiver.port

    @property
    def until(self) -> datetime:
        """When the test is over."""
        return self._receiver.until

    @property
    def open(self) -> bool:
        """Whether it still runs."""
        return self._thread.is_alive()

    def extend(self, hours: float) -> datetime:
        """Stay on test for so many hours [h] from now, and return until when. Raises NotOpened out of bounds, and when it is over."""
        extended: Future[datetime] = Future()

        def extend() -> None:
            try:
                extended.set_result(self._receiver.extend(hours))
            except NotOpened as error:
                extended.set_exception(error)

        if not self._soon(extend):
            raise NotOpened("The test is over and the port is shut.")
        return extended.result(START_S)

    def stop(self) -> None:
        """End it, once what is under way is kept and answered."""
        self._soon(self._receiver.stop)
        self._thread.join()

    def _soon(self, work: Callable[[], None]) -> bool:
        """Have something done in the receiver's thread; return whether it still takes anything."""
        try:
            self._loop.call_soon_threadsafe(work)
        except RuntimeError:
            # Its loop is closed: the hour was over by itself.
            return False
        return True

    def _run(self, place: Place, bench: Bench) -> None:
        try:
            self._loop.run_until_complete(self._whole(place, bench))
        except Exception as error:
            if self._opened.done():
                raise
            self._opened.set_exception(error)
        finally:
            self._loop.close()

    async def _whole(self, place: Place, bench: Bench) -> None:
        async with opened(place, bench) as receiver:
            self._opened.set_result(receiver)
            await receiver.over()
