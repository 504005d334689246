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
NUMBER_LETTERS = 16


@dataclass(frozen=True, kw_only=True, slots=True)
class Session:
    """Who is signed in, from where, since when, and when last heard of.

    ``number`` names the session where it is listed and ended; no token can be had from it. ``lock`` marks the password it began with:
    with another password it is worth nothing. ``turned_at`` is when the token was last exchanged, ``proved_at`` when the password was last
    given, ``ends_at`` the end of a token that has been exchanged and may still be on its way.
    """

    name: str
    source: Source
    began_at: datetime
    used_at: datetime
    turned_at: datetime
    proved_at: datetime
    number: str
    lock: str = ""
    ends_at: datetime | None = None

    def lives(self, now: datetime) -> bool:
        """Return whether the session is good. A clock set back ends it: its age is not known then."""
        if self.ends_at is not None and now >= self.ends_at:
            return False
        return self.began_at <= now < self.began_at + LONGEST and self.used_at <= now < self.used_at + IDLE


Sessions = Mapping[str, Session]
"""Sessions by the SHA-256 of their token."""


def new_token(draw: Draw) -> Secret:
    """Return a token of 256 random bits."""
    return Secret(base64.urlsafe_b64encode(draw(TOKEN_BYTES)).rstrip(b"=").decode("ascii"))


def key_of(token: Secret) -> str:
    """Return what a token is kept under; from it the token cannot be had again."""
    return sha256_of(token.utf8())


def begun(sessions: Sessions, token: Secret, name: str, source: Source, now: datetime, *, lock: str = "") -> Sessions:
    """Return the sessions with a new one; those that are over go, and the oldest of a person with too many."""
    living = {key: each for key, each in sessions.items() if each.lives(now)}
    own = sorted((key for key, each in living.items() if each.name == name), key=lambda key: living[key].began_at)
    for key in own[: max(0, len(own) - MOST_OF_ONE + 1)]:
        del living[key]
    key = key_of(token)
    made = Session(
        name=name, source=source, began_at=now, used_at=now, turned_at=now, proved_at=now, number=key[:NUMBER_LETTERS], lock=lock
    )  # fmt: skip
    return living | {key: made}


def used(sessions: Sessions, token: Secret, now: datetime, *, by_hand: bool = True) -> tuple[Sessions, Session | None]:
    """Return the sessions and the one a token stands for, if it is good; it was heard of now, unless a page only looks by itself."""
    key = key_of(token)
    found = sessions.get(key)
    if found is None or not found.lives(now):
        return {each: session for each, session in sessions.items() if each != key}, None
    if not by_hand:
        return sessions, found
    fresh = replace(found, used_at=now)
    return {**sessions, key: fresh}, fresh


def rotated(
    sessions: Sessions, token: Secret, new: Secret, now: datetime, *, overlap: timedelta = timedelta(0)
) -> tuple[Sessions, Session | None]:
    """Return the sessions with another token for one of them, which grows no younger.

    The old token is worth nothing from now on, or after ``overlap``: requests that were under way with it are still answered.
    An old token cannot be exchanged a second time.
    """
    left, found = used(sessions, token, now)
    if found is None or found.ends_at is not None:
        return left, None
    fresh = replace(found, turned_at=now)
    others = {key: each for key, each in left.items() if key != key_of(token)}
    old = {key_of(token): replace(found, ends_at=now + overlap)} if overlap else {}
    return others | old | {key_of(new): fresh}, fresh


def proved(sessions: Sessions, token: Secret, now: datetime, *, lock: str) -> Sessions:
    """Return the sessions, the password of one of them having been given now."""
    key = key_of(token)
    return {**sessions, key: replace(sessions[key], proved_at=now, lock=lock)} if key in sessions else sessions


def ended(sessions: Sessions, *, token: Secret | None = None, name: str | None = None, number: str | None = None) -> Sessions:
    """Return the sessions without the one of a token, or without those of a person; with a ``number``, without that one of theirs."""
    if token is not None:
        found = sessions.get(key_of(token))
        return {key: each for key, each in sessions.items() if found is None or each.number != found.number}
    return {key: each for key, each in sessions.items() if each.name != name or number not in (None, each.number)}
