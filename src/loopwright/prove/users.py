"""Who set and unset, held against the users of the programme."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from loopwright.job.document import Job, User
from loopwright.prove.call import About, Call
from loopwright.prove.heard import Heard
from loopwright.prove.kind import Kind

_DID = {Kind.SET: "set", Kind.UNSET: "unset", Kind.CANCEL: "cancelled an alarm of"}
_LETS = {"set": "set it alone", "unset": "unset it alone", "none": "do neither there"}


def of_users(job: Job, events: Sequence[Heard]) -> Iterator[Call]:
    """Yield who set, unset or cancelled and is no user of the programme, and who may not do there what they did; each once.

    Nothing is held against a programme in which no user has a number. What a duress code is reported by is its user's, and nothing here
    tells the two apart: the page may be looked at by whoever stands beside it.
    """
    users = {number: user for user in job.users.values() for number in (user.number, user.duress_number) if number is not None}
    told: set[tuple[About, int, int | None]] = set()
    for event in events:
        if not users or event.user is None or event.kind not in _DID:
            continue
        known = event.user in users
        call = _beyond(job, event, event.user, users[event.user]) if known else _stranger(event, event.user)
        if call is None or (key := (call.about, event.user, event.area if known else None)) in told:
            continue
        told.add(key)
        yield call


def _stranger(event: Heard, number: int) -> Call:
    words = f"User {number} {_DID[event.kind]} the system; the programme has no user {number}: a code from the factory, or one too many."
    return Call(about=About.NO_USER, at=event.at, sentence=words)


def _beyond(job: Job, event: Heard, number: int, user: User) -> Call | None:
    """Return that a user did in an area what the programme keeps from them; None where it lets them, or says nothing."""
    area = dict(enumerate(job.areas, start=1)).get(event.area or 0)
    may = user.areas.get(area) if area is not None else None
    if area is None or may is None or event.kind not in (Kind.SET, Kind.UNSET) or may in ("both", _DID[event.kind]):
        return None
    words = f"User {number} ({user.role}) {_DID[event.kind]} {job.areas[area].name}; the programme lets them {_LETS[may]}."
    return Call(about=About.MAY_NOT, at=event.at, sentence=words)
