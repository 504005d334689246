"""Papers from the screen: the same bytes the command line would write, for the job as it is open now."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from hashlib import sha256

from loopwright.web.session import State

Clock = Callable[[], datetime]
FINGERPRINT = 12


def moment() -> datetime:
    """Return the time now, in this place's zone."""
    return datetime.now(UTC).astimezone()


def revision_of(state: State) -> str:
    """Return the first digits of the document's SHA-256, as sha256sum prints it for the file."""
    return sha256(state.text.encode("utf-8")).hexdigest()[:FINGERPRINT]


def paper(state: State, name: str, now: datetime) -> bytes | None:
    """Return a paper of the open job as PDF; None when there is none of that name."""
    # Only here: the typesetter is a tenth of a second of start-up.
    from loopwright.papers import PAPERS

    made = PAPERS.get(name)
    return None if made is None else made(state.appraisal, revision=revision_of(state), now=now)
