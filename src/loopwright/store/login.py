"""Sessions: a random token for the browser, of which only the hash is kept here, and the two times after which it is worth nothing.

Nothing here reads a clock or draws a random number; both are passed in.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from loopwright.store.attempt import Source
from loopwright.store.secret import Draw, Secret
from loopwright.store.store import sha256_of

TOKEN_BYTES = 32
IDLE = timedelta(minutes=30)
LONGEST = timedelta(hours=12)
MOST_OF_ONE = 10


@dataclass(frozen=True, kw_only=True, slots=True)
class Session:
    """Who is signed in, from where, since when, and when last heard of."""

    name: str
    source: Source
    began_at: datetime
    used_at: datetime

    def lives(self, now: datetime) -> bool:
        """Return whether the session is good. A clock set back ends it: its age is not known then."""
        return self.began_at <= now < self.began_at + LONGEST and self.used_at <= now < self.used_at + IDLE


Sessions = Mapping[str, Session]
"""Sessions by the SHA-256 of their token."""


def new_token(draw: Draw) -> Secret:
    """Return a token of 256 random bits."""
    return Secret(base64.urlsafe_b64encode(draw(TOKEN_BYTES)).rstrip(b"=").decode("ascii"))


def key_of(token: Secret) -> str:
    """Return what a token is kept under; from it the token cannot be had again."""
    return sha256_of(token.utf8())


def begun(sessions: Sessions, token: Secret, name: str, source: Source, now: datetime) -> Sessions:
    """Return the sessions with a new one; those that are over go, and the oldest of a person with too many."""
    living = {key: each for key, each in sessions.items() if each.lives(now)}
    own = sorted((key for key, each in living.items() if each.name == name), key=lambda key: living[key].began_at)
    for key in own[: max(0, len(own) - MOST_OF_ONE + 1)]:
        del living[key]
    return living | {key_of(token): Session(name=name, source=source, began_at=now, used_at=now)}


def used(sessions: Sessions, token: Secret, now: datetime) -> tuple[Sessions, Session | None]:
    """Return the sessions and the one a token stands for, if it is good; it was heard of now."""
    key = key_of(token)
    found = sessions.get(key)
    if found is None or not found.lives(now):
        return {each: session for each, session in sessions.items() if each != key}, None
    fresh = replace(found, used_at=now)
    return {**sessions, key: fresh}, fresh


def rotated(sessions: Sessions, token: Secret, new: Secret, now: datetime) -> tuple[Sessions, Session | None]:
    """Return the sessions with another token for one of them; the old token is worth nothing, and the session grows no younger."""
    left, found = used(sessions, token, now)
    if found is None:
        return left, None
    return {key: each for key, each in left.items() if key != key_of(token)} | {key_of(new): found}, found


def ended(sessions: Sessions, *, token: Secret | None = None, name: str | None = None) -> Sessions:
    """Return the sessions without the one of a token, and without all of a person."""
    gone = None if token is None else key_of(token)
    return {key: each for key, each in sessions.items() if key != gone and (name is None or each.name != name)}
