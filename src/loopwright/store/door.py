"""The way in: a name and a password, a one-time code where one is asked for, and a session for whoever passes.

Attempts and sessions are kept in memory: they end with the program. ``now`` is passed in everywhere.
"""

from __future__ import annotations

import hmac
import secrets
import threading
from datetime import datetime
from typing import NamedTuple

from loopwright.store.attempt import Attempts, Limits, Source, passed, tried, wait_s
from loopwright.store.audit import Record
from loopwright.store.login import Session, Sessions, begun, ended, key_of, new_token, rotated, used
from loopwright.store.people import People
from loopwright.store.person import Person
from loopwright.store.secret import Draw, Secret

DISGUISE_BYTES = 32
AT_ONCE = 2
"""Passwords looked at at the same time; each takes its memory."""
NOT_RIGHT = "Name, password or code is not right."


class SignedIn(NamedTuple):
    """Somebody passed: the token to hand to the browser, and the session."""

    token: Secret
    session: Session


class Refused(NamedTuple):
    """Nobody passed, in words that do not say what was wrong; ``wait_s`` until the next try is looked at."""

    words: str
    wait_s: int


class Door:
    """Who comes in, who is in, and who goes."""

    def __init__(self, people: People, *, note: Record, limits: Limits | None = None, draw: Draw = secrets.token_bytes) -> None:
        """Take the people and the trail to note comings and refusals in."""
        self._people = people
        self._note = note
        self._limits = limits or Limits()
        self._draw = draw
        self._attempts: Attempts = {}
        self._sessions: Sessions = {}
        self._disguise = draw(DISGUISE_BYTES)
        self._lock = threading.Lock()
        self._looking = threading.BoundedSemaphore(AT_ONCE)

    def sign_in(self, name: str, password: Secret, code: Secret | None, *, source: Source, now: datetime) -> SignedIn | Refused:
        """Let somebody in or not. Raises StoreError when the people or the trail cannot be reached; nobody is in then."""
        person = self._people.find(name)
        # A name nobody has may be a password typed into the wrong field, so it is not noted, and counted under a disguise.
        known = "somebody unknown" if person is None else person.name
        counted = hmac.digest(self._disguise, name.encode("utf-8", "replace"), "sha256").hex() if person is None else person.name
        wait = self._counted(person, counted, source, now)
        if wait:
            self._note("sign-in not looked at", f"{known} from {source.address}, {wait} s to wait")
            return Refused(NOT_RIGHT, wait)
        with self._looking:
            right = self._people.fits(person, password) and self._people.take_code(known, password, code, now=now)
        if not right:
            self._note("sign-in refused", f"{known} from {source.address}")
            with self._lock:
                return Refused(NOT_RIGHT, self._wait(person, counted, source, now))
        self._note("signed in", f"{known} from {source.address}")
        token = new_token(self._draw)
        with self._lock:
            self._attempts = passed(self._attempts, counted, source)
            self._sessions = begun(self._sessions, token, known, source, now)
            return SignedIn(token, self._sessions[key_of(token)])

    def who(self, token: Secret, *, now: datetime) -> Person | None:
        """Return whose token it is, if the session and the person are still good. Raises StoreError."""
        with self._lock:
            self._sessions, found = used(self._sessions, token, now)
        return None if found is None else self._people.find(found.name)

    def rotate(self, token: Secret, *, now: datetime) -> Secret | None:
        """Return another token for the session, None when the old one is worth nothing, which it is from now on anyway."""
        new = new_token(self._draw)
        with self._lock:
            self._sessions, found = rotated(self._sessions, token, new, now)
        return None if found is None else new

    def sign_out(self, token: Secret) -> None:
        """End a session."""
        with self._lock:
            self._sessions = ended(self._sessions, token=token)

    def turn_out(self, name: str) -> None:
        """End all sessions of a person. Raises StoreError."""
        self._note("all sessions ended", name)
        with self._lock:
            self._sessions = ended(self._sessions, name=name)

    def sessions_of(self, name: str) -> tuple[Session, ...]:
        """Return the sessions of a person, the oldest first."""
        with self._lock:
            return tuple(sorted((each for each in self._sessions.values() if each.name == name), key=lambda each: each.began_at))

    def _counted(self, person: Person | None, counted: str, source: Source, now: datetime) -> int:
        """Count a try, and return how long [s] it has to wait; one that has to wait is not counted."""
        with self._lock:
            wait = self._wait(person, counted, source, now)
            if not wait:
                self._attempts = tried(self._attempts, counted, source, now=now, limits=self._limits)
            return wait

    def _wait(self, person: Person | None, counted: str, source: Source, now: datetime) -> int:
        if person is not None and person.owner and source.loopback:
            # Whoever sits at the machine could take the file as well; the owner must get in, whatever others have tried.
            return 0
        return wait_s(self._attempts, counted, source, now=now, limits=self._limits)
