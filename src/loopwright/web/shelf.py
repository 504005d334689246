"""The jobs of a folder that are open: each from when it is first asked for, a bounded number at a time, the longest unused closed."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from starlette.types import ASGIApp

from loopwright.store.api_token import ApiTokens
from loopwright.store.folder import JobFolder
from loopwright.values.finding import Severity
from loopwright.web.app import create_part
from loopwright.web.session import Session
from loopwright.web.vault_open import OpenVaults, Sittings

MOST_OPEN = 16
"""Jobs open at a time; one that is just being answered is never closed, so for a moment there may be more."""


TokensOf = Callable[[Path], ApiTokens]
"""Gives the API tokens of a job file."""


class Opened(NamedTuple):
    """An open job, and what closes it."""

    session: Session
    close: Callable[[], None]


@dataclass(slots=True)
class Held:
    """An open job as it stands on the shelf: its application, and how many questions to it are being answered."""

    opened: Opened
    app: ASGIApp
    vaults: OpenVaults | None
    answering: int = 0


class Shelf:
    """The open jobs of one folder."""

    def __init__(self, folder: JobFolder, opening: Callable[[Path], Opened], *, most: int = MOST_OPEN) -> None:
        """Take the folder and what opens a job in it, which may raise StoreError or JobError."""
        self.folder = folder
        self._opening = opening
        self._most = most
        self._lock = threading.Lock()
        self._doors: dict[str, threading.Lock] = {}
        self._held: OrderedDict[str, Held] = OrderedDict()
        self.sittings: Sittings | None = None
        """Says who is signed in, for the vaults of the jobs; whoever lets people in puts it here."""

    @contextmanager
    def job(self, name: str) -> Iterator[ASGIApp]:
        """Give the application of a job until the block ends. Raises StoreError when there is none, or as opening it does."""
        held = self.take(name)
        try:
            yield held.app
        finally:
            self.give_back(held)

    def take(self, name: str) -> Held:
        """Return a job, opened now if it is not; it stays open until it is given back. Raises StoreError or JobError."""
        found = self._found(name)
        if found is None:
            path = self.folder.path_of(name)
            with self._lock:
                door = self._doors.setdefault(name, threading.Lock())
            with door:
                # Whoever came at the same time may have opened it meanwhile.
                found = self._found(name) or self._open(name, path)
        self._close_unused()
        return found

    def give_back(self, held: Held) -> None:
        """Say that a question is answered."""
        with self._lock:
            held.answering -= 1

    def session(self, name: str) -> Session | None:
        """Return the session of a job if it is open."""
        with self._lock:
            held = self._held.get(name)
        return None if held is None else held.opened.session

    def musts(self, name: str) -> int | None:
        """Return how many findings of the gravest sort an open job has; None of one that is not open, which nobody appraises for that."""
        session = self.session(name)
        if session is None:
            return None
        return sum(finding.severity is Severity.MUST for finding in session.state.appraisal.findings)

    def forget_gone(self) -> None:
        """Close the vault of every open job for everybody who has gone."""
        with self._lock:
            open_now = [held.vaults for held in self._held.values() if held.vaults is not None]
        for vaults in open_now:
            vaults.forget_gone()

    def close_all(self) -> None:
        """Close every job."""
        with self._lock:
            going = list(self._held.values())
            self._held.clear()
        for held in going:
            _shut(held)

    def _found(self, name: str) -> Held | None:
        with self._lock:
            held = self._held.get(name)
            if held is not None:
                self._held.move_to_end(name)
                held.answering += 1
            return held

    def _open(self, name: str, path: Path) -> Held:
        opened = self._opening(path)
        app = create_part(opened.session, sittings=self.sittings)
        held = Held(opened, app, getattr(app.state, "vaults", None), answering=1)
        with self._lock:
            self._held[name] = held
        return held

    def _close_unused(self) -> None:
        with self._lock:
            unused = [name for name, held in self._held.items() if not held.answering]
            going = [self._held.pop(name) for name in unused[: max(len(self._held) - self._most, 0)]]
        for held in going:
            _shut(held)


def _shut(held: Held) -> None:
    if held.vaults is not None:
        held.vaults.close_all()
    held.opened.close()
