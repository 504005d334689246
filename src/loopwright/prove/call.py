"""What is called out at once, in one plain sentence each."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class About(StrEnum):
    """What is called out."""

    SWAPPED = "zones exchanged"
    WRONG_ZONE = "wrong zone"
    WRONG_KIND = "wrong kind"
    WRONG_CODE = "another code"
    WRONG_AREA = "another area"
    NO_ZONE = "no such zone"
    NO_USER = "no such user"
    MAY_NOT = "not this user's"
    WHICH = "which device"
    NOTHING = "nothing arrived"
    NO_RESTORE = "restore missing"
    CLOCK = "clock"
    REPEATED = "sent again"
    PATH = "path changed"
    LATE_POLL = "poll late"
    ACCOUNT = "another account"
    OTHER = "not expected"


URGENT = frozenset(
    {About.SWAPPED, About.WRONG_ZONE, About.WRONG_KIND, About.NO_ZONE, About.NO_USER, About.MAY_NOT, About.NOTHING, About.ACCOUNT}
)
"""What is shown first and largest: it means a wire or a cell of the programme is wrong."""


ASKS = frozenset({About.NO_RESTORE, About.WHICH})
"""What asks something of whoever walks."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Call:
    """One thing called out. ``over`` says that what came later has settled it; ``sure`` is False where the act was inferred.

    ``devices`` and ``zones`` are what it speaks of, ``act`` what was done there.
    """

    about: About
    at: datetime
    sentence: str
    zones: tuple[int, ...] = ()
    devices: tuple[str, ...] = ()
    act: str = ""
    sure: bool = True
    over: bool = False

    @property
    def urgent(self) -> bool:
        """Return whether it is shown first."""
        return self.about in URGENT and not self.over

    @property
    def asks(self) -> bool:
        """Return whether whoever walks is to do something about it."""
        return self.urgent or self.about in ASKS
