"""The visible list of rooms."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from loopwright.store.person import Right
from loopwright.web.page import Page
from loopwright.web.rooms import desk, front, history, kit, on_site, papers, power, premises, programme, prove, rehearsal, secrets, wiring


@dataclass(frozen=True, kw_only=True, slots=True)
class Room:
    """One room: its key in the address, its name, what its template draws, and the rights to see it and to change what it shows."""

    key: str
    words: str
    view: Callable[[Page], Mapping[str, Any]]
    right: Right = Right.READ_JOB
    changing: Right = Right.CHANGE_JOB

    @property
    def address(self) -> str:
        """Return the room's address, as it is from any other: the job may be one of many."""
        return "./" if self.key == "front" else f"./{self.key}"


ROOMS = (
    Room(key="front", words="Front sheet", view=front.view),
    Room(key="premises", words="Premises", view=premises.view),
    Room(key="kit", words="Kit", view=kit.view),
    Room(key="wiring", words="Wiring", view=wiring.view),
    Room(key="power", words="Power", view=power.view),
    Room(key="programme", words="Programme", view=programme.view),
    Room(key="rehearsal", words="Rehearsal", view=rehearsal.view),
    Room(key="secrets", words="Secrets", view=secrets.view, right=Right.READ_SECRETS, changing=Right.READ_SECRETS),
    Room(key="on-site", words="On site", view=on_site.view, changing=Right.ENTER_READINGS),
    Room(key="prove", words="Prove", view=prove.view, changing=Right.ENTER_READINGS),
    Room(key="desk", words="Desk", view=desk.view, right=Right.WORK_ALARMS, changing=Right.WORK_ALARMS),
    Room(key="papers", words="Papers", view=papers.view),
    Room(key="history", words="History", view=history.view),
)
