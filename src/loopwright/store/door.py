"""The way in: a name and a password, a one-time code where one is asked for, and a session for whoever passes.

Attempts and sessions are kept in memory: they end with the program. ``now`` is passed in everywhere.
"""

from __future__ import annotations

import hmac
import secrets
import threading
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import NamedTuple

from loopwright.store.attempt import Attempts, Limits, Source, passed, tried, wait_s
from loopwright.store.audit import Record
from loopwright.store.login import Session, Sessions, begun, ended, key_of, new_token, proved, rotated, used
from loopwright.store.people import People
from loopwright.store.person import Person
from loopwright.store.secret import Draw, Secret
from loopwright.store.store import sha256_of

DISGUISE_BYTES = 32
AT_ONCE, MOST_WAITING = 2, 8
"""Passwords looked at at the same time, each taking its memory; and how many may be looked at or wait for it."""
NOT_RIGHT = "Name, password or code is not right."
PASSWORD_NOT_RIGHT = "The password is not right."
TOO_MANY = "Too many people are coming in at this moment. Try again."
ENDED = "You are signed out."
OVERLAP = timedelta(seconds=10)
PENDING = timedelta(minutes=10)
"""How long a secret for one-time codes waits for its first code."""


class SignedIn(NamedTuple):
    """Somebody passed: the token to hand to the browser, and the session."""

    token: Secret
    session: Session


class Refused(NamedTuple):
    """Nobody passed, in words that do not say what was wrong; ``wait_s`` until the next try is looked at."""

    words: str
    wait_s: int


class Inside(NamedTuple):
    """Somebody is in: who, and with which session."""

    person: Person
    session: Session


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
        self._waiting = threading.BoundedSemaphore(MOST_WAITING)
        self._owners = threading.BoundedSemaphore(AT_ONCE)
        self._told: dict[str, datetime] = {}
        self._pending: dict[str, tuple[Secret, datetime]] = {}

    def sign_in(self, name: str, password: Secret, code: Secret | None, *, source: Source, now: datetime) -> SignedIn | Refused:
        """Let somebody in or not. Raises StoreError when the people or the trail cannot be reached; nobody is in then."""
        person = self._people.find(name)
        if person is not None and person.given_until is not None and now >= person.given_until:
            person = None
        # A name nobody has may be a password typed into the wrong field, so it is not noted, and counted under a disguise.
        known = "somebody unknown" if person is None else person.name
        counted = hmac.digest(self._disguise, name.encode("utf-8", "replace"), "sha256").hex() if person is None else person.name

        def right() -> bool:
            return self._people.fits(person, password) and self._people.take_code(known, password, code, now=now)

        refused = self._looked_at(right, person, (counted, known), source, now)
        if refused is not None:
            return Refused(refused.words or NOT_RIGHT, refused.wait_s)
        self._note("signed in", f"{known} from {source.address}")
        token = new_token(self._draw)
        with self._lock:
            self._sessions = begun(self._sessions, token, known, source, now, lock=_lock_of(person))
            return SignedIn(token, self._sessions[key_of(token)])

    def inside(self, token: Secret, *, now: datetime, by_hand: bool = True) -> Inside | None:
        """Return whose token it is, and their session, if both are still good. Raises StoreError.

        What a page asks by itself, not ``by_hand``, keeps no session alive.
        """
        with self._lock:
            self._sessions, found = used(self._sessions, token, now, by_hand=by_hand)
        person = None if found is None else self._people.find(found.name)
        if found is None or person is None or found.lock != _lock_of(person):
            return None
        return Inside(person, found)

    def prove(self, token: Secret, password: Secret, *, now: datetime) -> SignedIn | Refused:
        """Have somebody who is in give the password again; the tries are counted as at the way in. Raises StoreError."""
        inside = self.inside(token, now=now)
        if inside is None:
            return Refused(ENDED, 0)
        refused = self._own_password(inside, password, now)
        return refused or self._turned(token, inside, now)

    def change_password(self, token: Secret, old: Secret, new: Secret, *, now: datetime) -> SignedIn | Refused:
        """Change the password of somebody who is in and knows the old one; their other sessions end. Raises StoreError."""
        inside = self.inside(token, now=now)
        if inside is None:
            return Refused(ENDED, 0)
        name = inside.person.name
        if refused := self._own_password(inside, old, now):
            return refused
        self._people.change_password(name, old, new)
        return self._turned(token, inside, now)

    def start_codes(self, token: Secret, password: Secret, *, now: datetime) -> Secret | Refused:
        """Return a new secret for one-time codes, which counts once ``confirm_codes`` has had a code of it. Raises StoreError."""
        inside = self.inside(token, now=now)
        if inside is None:
            return Refused(ENDED, 0)
        if refused := self._own_password(inside, password, now):
            return refused
        secret = self._people.start_one_time(inside.person.name, password)
        with self._lock:
            living = {number: each for number, each in self._pending.items() if each[1] > now}
            self._pending = living | {inside.session.number: (secret, now + PENDING)}
        return secret

    def confirm_codes(self, token: Secret, password: Secret, code: Secret, *, now: datetime) -> Refused | None:
        """Ask for one-time codes from now on, when this is one. Raises StoreError."""
        inside = self.inside(token, now=now)
        if inside is None:
            return Refused(ENDED, 0)
        with self._lock:
            secret, until = self._pending.get(inside.session.number, (None, now))
        if secret is None or until <= now:
            return Refused("That took too long. Begin anew.", 0)
        if refused := self._own_password(inside, password, now):
            return refused
        self._people.confirm_one_time(inside.person.name, password, secret, code, now=now)
        with self._lock:
            self._pending.pop(inside.session.number, None)
        return None

    def drop_codes(self, token: Secret, password: Secret, *, now: datetime) -> Refused | None:
        """Ask somebody who is in for no one-time codes any more. Raises StoreError."""
        inside = self.inside(token, now=now)
        if inside is None:
            return Refused(ENDED, 0)
        if refused := self._own_password(inside, password, now):
            return refused
        self._people.drop_one_time(inside.person.name)
        return None

    def sittings(self, *, now: datetime) -> frozenset[str]:
        """Return the marks of everybody who is in, each as they are in. Raises StoreError."""
        with self._lock:
            living = [each for each in self._sessions.values() if each.lives(now)]
        people = self._people.everybody() if living else {}
        found = ((each, people.get(each.name)) for each in living)
        return frozenset(sitting(person, each) for each, person in found if person and person.active and each.lock == _lock_of(person))

    def rotate(self, token: Secret, *, now: datetime, overlap: timedelta = timedelta(0)) -> Secret | None:
        """Return another token for the session, None when the old one is worth nothing, which it is after ``overlap`` anyway."""
        new = new_token(self._draw)
        with self._lock:
            self._sessions, found = rotated(self._sessions, token, new, now, overlap=overlap)
        return None if found is None else new

    def sign_out(self, token: Secret) -> None:
        """End a session."""
        with self._lock:
            self._sessions = ended(self._sessions, token=token)

    def turn_out(self, name: str, *, number: str | None = None, note: Record | None = None) -> None:
        """End all sessions of a person, or the one of a number; ``note`` notes it in the name of somebody else. Raises StoreError."""
        (note or self._note)("all sessions ended" if number is None else "a session ended", name)
        with self._lock:
            self._sessions = ended(self._sessions, name=name, number=number)

    def sessions_of(self, name: str) -> tuple[Session, ...]:
        """Return the sessions of a person, the oldest first."""
        with self._lock:
            own = (each for each in self._sessions.values() if each.name == name and each.ends_at is None)
            return tuple(sorted(own, key=lambda each: each.began_at))

    def _own_password(self, inside: Inside, password: Secret, now: datetime) -> Refused | None:
        """Return why somebody who is in is not believed to be who they are; None when the password is right."""
        person, source = inside.person, inside.session.source
        refused = self._looked_at(lambda: self._people.fits(person, password), person, (person.name, person.name), source, now)
        return None if refused is None else Refused(refused.words or PASSWORD_NOT_RIGHT, refused.wait_s)

    def _turned(self, token: Secret, inside: Inside, now: datetime) -> SignedIn | Refused:
        """Return the session of somebody who has just given the password, under another token."""
        new = new_token(self._draw)
        person = self._people.find(inside.person.name)
        with self._lock:
            self._sessions, found = rotated(self._sessions, token, new, now)
            if found is None:
                return Refused(ENDED, 0)
            self._sessions = proved(self._sessions, new, now, lock=_lock_of(person))
            return SignedIn(new, self._sessions[key_of(new)])

    def _looked_at(
        self, right: Callable[[], bool], person: Person | None, names: tuple[str, str], source: Source, now: datetime
    ) -> Refused | None:
        """Count a try, look at it unless it has to wait, and note what is refused. ``names``: counted under, and noted as."""
        counted, known = names
        # Before the try is counted: nobody pays for the crowd, and the crowd forgives nobody.
        room = self._room(person, source)
        if room is None:
            return Refused(TOO_MANY, 1)
        try:
            wait = self._counted(person, counted, source, now)
            if wait:
                self._note_wait(known, source, wait, now)
                return Refused("", wait)
            with self._looking:
                passes = right()
        finally:
            room.release()
        if passes:
            with self._lock:
                self._attempts = passed(self._attempts, counted, source)
            return None
        self._note("sign-in refused", f"{known} from {source.address}")
        with self._lock:
            return Refused("", self._wait(person, counted, source, now))

    def _room(self, person: Person | None, source: Source) -> threading.BoundedSemaphore | None:
        """Return where somebody may wait to be looked at, taken for them; None when there is no room. The owner's own is kept free."""
        rooms = (self._waiting, self._owners) if _at_the_machine(person, source) else (self._waiting,)
        return next((each for each in rooms if each.acquire(blocking=False)), None)

    def _note_wait(self, known: str, source: Source, wait: int, now: datetime) -> None:
        """Note that a try was not looked at, once in each wait of a place: such tries cost nothing, and the trail must not grow by them."""
        with self._lock:
            until = self._told.get(source.address)
        if until is not None and now < until <= now + timedelta(seconds=self._limits.longest_wait_s):
            return
        self._note("sign-in not looked at", f"{known} from {source.address}, {wait} s to wait")
        with self._lock:
            living = {address: each for address, each in self._told.items() if each > now}
            self._told = living | {source.address: now + timedelta(seconds=wait)}

    def _counted(self, person: Person | None, counted: str, source: Source, now: datetime) -> int:
        """Count a try, and return how long [s] it has to wait; one that has to wait is not counted."""
        with self._lock:
            wait = self._wait(person, counted, source, now)
            if not wait:
                self._attempts = tried(self._attempts, counted, source, now=now, limits=self._limits)
            return wait

    def _wait(self, person: Person | None, counted: str, source: Source, now: datetime) -> int:
        if _at_the_machine(person, source):
            return 0
        return wait_s(self._attempts, counted, source, now=now, limits=self._limits)


def _at_the_machine(person: Person | None, source: Source) -> bool:
    """Return whether this may be the owner at the machine, who could take the file as well and must get in, whatever others have tried."""
    return person is not None and person.owner and source.loopback


def sitting(person: Person, session: Session) -> str:
    """Return a mark of a session and of what its person is: with another role, right or password it is another mark."""
    entry = "\0".join((person.role, str(person.owner), str(person.active), str(person.given_until), person.password_hash))
    return f"{session.number}-{sha256_of(entry.encode('utf-8'))}"


def _lock_of(person: Person | None) -> str:
    """Return a mark of the password a session began with; with another password it does not fit any more."""
    return "" if person is None else sha256_of(person.password_hash.encode("utf-8"))
