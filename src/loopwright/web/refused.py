"""What a receiver did not take, gathered for the page of its port: why, from whom, how often, and what to do about it."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass, replace
from datetime import datetime
from threading import Lock
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from loopwright.signalling.received import Happening

MOST = 8
"""Different refusals that are shown; of more, the latest."""
_SENT_AGAIN = "Nothing was answered, so a control unit sends it again."
_GIVEN_UP = "The control unit was told and does not send it again: mend it, then do what you did once more."
_DO = {
    "damaged": f"{_SENT_AGAIN} If it keeps coming, set the form of report there to DC-09 (SIA-DCS or ADM-CID), and see what lies between.",
    "no message": "Something answers here as a receiver does: look at which address is entered there.",
    "wrong time": "It was told the right time and sends again by it. If this comes again, set date, time and zone of time there by hand, "
    "and look at this machine's own clock.",
    "wrong key": f"Enter the key there again, every digit, with the length the vault has. {_GIVEN_UP}",
    "key read another way": "The same digits are meant otherwise there: choose there, or in the vault, whether the key is digits or "
    f"characters. {_GIVEN_UP}",
    "no key": f"Put account/NAME and key/NAME in Secrets, close the port and open it again; or correct the account there. {_GIVEN_UP}",
    "in plain": "Turn encryption on there with the key the vault has; or, if it is to send in plain, close the port and open it with plain "
    f"messages taken too. {_GIVEN_UP}",
    "no event": f"Set the form of report there to SIA-DCS or ADM-CID. {_GIVEN_UP}",
    "not listed": "It is kept, and proves nothing of the account that is listed. Correct the account there, or put it in Secrets, close "
    "the port and open it again.",
    "": "Look at which address, port and protocol are entered there.",
}
"""What to do, by why it was refused (`Why`) or by what else is told."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Turned:
    """One kind of refusal of one sender: when last, how often, the reason, the answer that was given (empty: none), and what to do."""

    at: datetime
    times: int
    account: str
    by: str
    reason: str
    answer: str
    do: str


class Turnings:
    """The latest refusals. Told in the receiver's thread, read in others; bounded whatever arrives."""

    def __init__(self) -> None:
        """Know of none."""
        self._lock = Lock()
        self._known: OrderedDict[tuple[str, str, str], Turned] = OrderedDict()
        self.count = 0

    def hear(self, happening: Happening) -> None:
        """Take note of what was refused, and of an account that is not listed."""
        from loopwright.signalling.received import Matter, Notice, Refused
        from loopwright.signalling.verdict import Answer

        if isinstance(happening, Refused):
            why = str(happening.why or "")
            answer = "" if happening.answer is Answer.SILENCE else str(happening.answer)
            by, reason = f"{happening.way} {happening.peer}", happening.reason
        elif isinstance(happening, Notice) and happening.matter is Matter.UNLISTED:
            why, answer, by, reason = "not listed", str(Answer.ACK), "", "the account is not listed here."
        else:
            return
        self._add((why or reason, happening.account, by), happening.at, reason, answer, _DO[why])

    def latest(self) -> tuple[Turned, ...]:
        """Return them, the latest first."""
        with self._lock:
            return tuple(reversed(self._known.values()))

    def _add(self, key: tuple[str, str, str], at: datetime, reason: str, answer: str, do: str) -> None:
        with self._lock:
            known = self._known.pop(key, None)
            new = Turned(at=at, times=1, account=key[1], by=key[2], reason=reason, answer=answer, do=do)
            self._known[key] = new if known is None else replace(new, times=known.times + 1)
            self.count += 1
            if len(self._known) > MOST:
                self._known.popitem(last=False)
