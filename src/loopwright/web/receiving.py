"""Receivers that were opened from a screen: one a job, each at one address of this machine, and none left when the program ends."""

from __future__ import annotations

import atexit
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING

from loopwright.web.refused import Turned, Turnings

if TYPE_CHECKING:
    from loopwright.receiver.running import Running
    from loopwright.receiver.server import Place
    from loopwright.store.accounts import Listed
    from loopwright.store.received import ReceivedFile

HERE = "127.0.0.1"
USUAL_PORT = 8418
MORE = timedelta(minutes=30)


@dataclass(frozen=True, kw_only=True, slots=True)
class Standing:
    """An open port as a page shows it; of a key it has the name in the vault alone."""

    host: str
    port: int
    until: datetime
    left_min: int
    accounts: tuple[tuple[str, str], ...]
    plain_too: bool
    turned: tuple[Turned, ...]
    turnings: int
    """How many refusals there were, those that are shown no more among them."""


@dataclass(frozen=True, kw_only=True, slots=True)
class _Open:
    running: Running
    keeper: ReceivedFile
    accounts: tuple[tuple[str, str], ...]
    plain_too: bool
    turnings: Turnings
    clock: Callable[[], datetime]

    def end(self) -> None:
        self.running.stop()
        self.keeper.close()


class Ports:
    """The receivers of this program by their jobs, which outlive that a job is put back on the shelf."""

    def __init__(self) -> None:
        self._open: dict[Path, _Open] = {}
        self._lock = Lock()

    def open(self, job: Path, place: Place, listed: tuple[Listed, ...], clock: Callable[[], datetime]) -> None:
        """Open the port of a job. Raises NotOpened, when it has one too, or StoreError."""
        # Only here: ciphers and sockets are start-up for whoever never receives.
        from loopwright.receiver.intake import Bench
        from loopwright.receiver.running import Running
        from loopwright.receiver.server import NotOpened
        from loopwright.signalling.verdict import Desk
        from loopwright.store.aes import ChainedAes
        from loopwright.store.received import ReceivedFile, received_path

        with self._lock:
            if self._found(job) is not None:
                raise NotOpened("A port is open for this job already: close it first.")
            desk = Desk(accounts={each.number: each.account for each in listed}, cipher=ChainedAes(), draw=secrets.token_bytes)
            keeper, turnings = ReceivedFile(received_path(job)), Turnings()
            try:
                # Events are read where they are kept.
                bench = Bench(desk=desk, keeper=keeper, tell=turnings.hear, clock=lambda: clock().astimezone(UTC), each=False)
                running = Running(place, bench)
            except BaseException:
                keeper.close()
                raise
            accounts = tuple((each.number, each.key_name) for each in listed)
            plain_too = any(each.account.plain_too for each in listed)
            self._open[job.resolve()] = _Open(
                running=running, keeper=keeper, accounts=accounts, plain_too=plain_too, turnings=turnings, clock=clock
            )

    def standing(self, job: Path) -> Standing | None:
        """Return how the port of a job stands, None where it is shut."""
        with self._lock:
            found = self._found(job)
        if found is None:
            return None
        running = found.running
        left = max(timedelta(0), running.until - found.clock())
        return Standing(
            host=running.place.host,
            port=running.port,
            until=running.until,
            left_min=-(-left // timedelta(minutes=1)),
            accounts=found.accounts,
            plain_too=found.plain_too,
            turned=found.turnings.latest(),
            turnings=found.turnings.count,
        )

    def extend(self, job: Path) -> None:
        """Listen half an hour longer. Raises NotOpened where the port is shut, or past the most a test may last."""
        from loopwright.receiver.server import NotOpened

        with self._lock:
            found = self._found(job)
            if found is None:
                raise NotOpened("The port is shut: its time was over, or somebody closed it.")
            found.running.extend((found.running.until - found.clock() + MORE) / timedelta(hours=1))

    def close(self, job: Path) -> None:
        """Shut the port of a job, once what is under way is kept and answered."""
        with self._lock:
            found = self._open.pop(job.resolve(), None)
            if found is not None:
                found.end()

    def close_all(self) -> None:
        """Shut every port."""
        for job in tuple(self._open):
            self.close(job)

    def _found(self, job: Path) -> _Open | None:
        found = self._open.get(job.resolve())
        if found is not None and not found.running.open:
            self._open.pop(job.resolve()).end()
            return None
        return found


PORTS = Ports()
atexit.register(PORTS.close_all)


def addresses() -> tuple[str, ...]:
    """Return where a port may be opened: this machine alone first, then its own addresses, each by itself."""
    from loopwright.web.lan import own_addresses

    return (HERE, *sorted(own_addresses() - {HERE}))
