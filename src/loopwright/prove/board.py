"""The board: events in, what is proved and what is wrong out.

It depends on what arrived and what was said alone, never on the order in which it is handed in, nor on how often.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType

from loopwright.circuits.forecast import CircuitForecast
from loopwright.job.document import Job
from loopwright.prove.call import About, Call
from loopwright.prove.called import of_accounts, of_events, of_polls, of_the_way, of_windows, unrestored, zone_words
from loopwright.prove.devices import zones_of
from loopwright.prove.follow import inferred
from loopwright.prove.heard import Heard
from loopwright.prove.item import Proof, key_of
from loopwright.prove.kind import OF_A_ZONE, Kind
from loopwright.prove.match import Window, in_order, shared_zones, windows
from loopwright.prove.record import Walked
from loopwright.prove.report import Expected, alarm_kind, expected_events
from loopwright.prove.users import of_users
from loopwright.signalling.received import Polled

_PROVES = {"operate": (Proof.WALK, Proof.RESTORE), "lid": (Proof.TAMPER, Proof.LID_SHUT), "mask": (Proof.MASK, None)}


@dataclass(frozen=True, kw_only=True, slots=True)
class Board:
    """What has come of a proving so far.

    ``arrived`` is by the key of an expected event the first that met it, ``proved`` by the key of an item the event that proved it.
    ``placed`` says of every event where it went. ``waiting`` are the zones that have not restored.
    """

    events: tuple[Heard, ...]
    repeats: tuple[Heard, ...]
    expected: tuple[Expected, ...]
    acts: tuple[Window, ...]
    arrived: Mapping[str, Heard]
    proved: Mapping[str, Heard]
    placed: Mapping[str, str]
    calls: tuple[Call, ...]
    waiting: Mapping[tuple[int, str], Heard]

    @property
    def missing(self) -> tuple[Expected, ...]:
        """Return the events that should arrive and have not."""
        return tuple(each for each in self.expected if each.sent and each.key not in self.arrived)


def board(
    job: Job,
    circuits: Sequence[CircuitForecast],
    heard: Iterable[Heard],
    walked: Iterable[Walked],
    *,
    now: datetime,
    order: Sequence[str] = (),
    poll_s: float | None = None,
    polled: Sequence[Polled] = (),
    accounts: frozenset[str] = frozenset(),
) -> Board:
    """Return the board of everything that arrived and was said until ``now``.

    Where nothing was said of what is being tested, it is inferred from the walking ``order``; without one, nothing is inferred.
    ``poll_s`` [s] and ``accounts`` are those of the set-up sheets, ``polled`` is what a receiver knows of the polls.
    """
    events, repeats = in_order(heard)
    told = tuple(walked)
    acts = windows(job, circuits, told or inferred(job, order, events), events)
    expected = expected_events(job)
    arrived, placed = _arrived(expected, events)
    placed |= {each.n: "sent again" for each in repeats}
    proved = _proved(job, acts, events)
    calls = (
        *of_windows(job, acts, now),
        *of_events(job, expected, events, now),
        *of_users(job, events),
        *_which(job, acts, events, proved),
        *of_accounts(events, accounts),
        *of_the_way(events, repeats, now),
        *of_polls(events, polled, poll_s),
    )
    return Board(
        events=events, repeats=repeats, expected=expected, acts=acts, arrived=MappingProxyType(arrived), proved=MappingProxyType(proved),
        placed=MappingProxyType(placed), calls=tuple(sorted(calls, key=_rank)),
        waiting=MappingProxyType(unrestored(events)),
    )  # fmt: skip


def _rank(call: Call) -> tuple[bool, bool, bool, float]:
    """Return where a call stands: what is wrong, then what asks for something, then the rest; the latest first."""
    return (not call.urgent, not call.asks, call.over, -call.at.timestamp())


def _arrived(expected: Sequence[Expected], events: Sequence[Heard]) -> tuple[dict[str, Heard], dict[str, str]]:
    """Return the first event that met each expectation, and where every event went."""
    keys = {(each.number, each.kind, each.restored): each.key for each in expected}
    arrived: dict[str, Heard] = {}
    placed: dict[str, str] = {}
    for event in events:
        key = keys.get((event.zone if event.kind in OF_A_ZONE else None, event.kind, event.restored))
        if key is None:
            placed[event.n] = "poll" if event.kind is Kind.POLL else "not expected"
        else:
            arrived.setdefault(key, event)
            placed[event.n] = key
    return arrived, placed


def _proved(job: Job, acts: Sequence[Window], events: Sequence[Heard]) -> dict[str, Heard]:
    """Return what is proved: by an act that was reported as it should be, or by an event of a zone behind which one device stands.

    What came during another act that was itself not reported proves nothing: it may be that act, on the wrong zone.
    """
    found: dict[str, Heard] = {}
    for window in acts:
        if window.met is not None:
            _tick(found, window.walked.device, window.walked.act, window.met, events)
    doubtful = {each.n for window in acts if not window.own for each in window.others}
    owned = {each.n for window in acts for each in window.own}
    shared = shared_zones(job)
    for device in job.equipment:
        for name in zones_of(job, device):
            zone = job.zones[name]
            if zone.number in shared:
                continue
            for event in events:
                if event.zone == zone.number and not event.restored and event.n not in doubtful and event.n not in owned:
                    act = _act_of(event, alarm_kind(job, zone))
                    if act:
                        _tick(found, device, act, event, events)
    return found


def _act_of(event: Heard, own: Kind) -> str:
    if event.kind is own:
        return "lid" if own is Kind.TAMPER else "operate"
    return {Kind.TAMPER: "lid", Kind.FAULT: "mask"}.get(event.kind, "")


def _tick(found: dict[str, Heard], device: str, act: str, event: Heard, events: Sequence[Heard]) -> None:
    done, back = _PROVES[act]
    found.setdefault(key_of(done, device), event)
    over = next((e for e in events if e.restored and e.zone == event.zone and e.kind is event.kind and e.at >= event.at), None)
    if back is not None and over is not None:
        found.setdefault(key_of(back, device), over)


def _which(job: Job, acts: Sequence[Window], events: Sequence[Heard], proved: Mapping[str, Heard]) -> Iterable[Call]:
    """Yield the question which of several devices behind a zone has reported, while they are not all proved."""
    owned = {each.n for window in acts for each in (*window.own, *window.others)}
    for zone in sorted(shared_zones(job)):
        loose = [each for each in events if each.zone == zone and each.kind in OF_A_ZONE and not each.restored and each.n not in owned]
        behind = [device for device in job.equipment if any(job.zones[name].number == zone for name in zones_of(job, device))]
        left = [device for device in behind if key_of(Proof.WALK, device) not in proved and key_of(Proof.TAMPER, device) not in proved]
        if loose and left:
            names = " and ".join(job.equipment[device].label or device for device in behind)
            told = f"Zone {zone_words(job, zone)} reported; {names} stand behind it: say which you are at."
            yield Call(about=About.WHICH, at=loose[-1].at, sentence=told, zones=(zone,), devices=tuple(behind))
