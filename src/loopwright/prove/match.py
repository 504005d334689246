"""What was done, matched with what arrived: each act at a device is a window of time, and the events of its zones fall into it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from loopwright.circuits.forecast import CircuitForecast
from loopwright.job.document import Job
from loopwright.netlist.loop import ActKind
from loopwright.prove.devices import zones_of
from loopwright.prove.heard import Heard
from loopwright.prove.kind import OF_A_ZONE, Kind, of_reading
from loopwright.prove.record import Walked
from loopwright.prove.report import alarm_kind

LATE_S = 20.0
"""An event may come so long after somebody has gone on to the next device, and still be of the one before (judgement)."""
LONGEST_S = 600.0
"""After so long nothing that arrives is put down to an act (judgement)."""
ACTS = {"operate": ActKind.ACTIVATED, "lid": ActKind.LID_OPEN, "mask": ActKind.FAULT}


@dataclass(frozen=True, kw_only=True, slots=True)
class Window:
    """One act at a device: which zones should report it and as which kinds, its ``own`` events, and ``others`` that came meanwhile."""

    walked: Walked
    begins: datetime
    ends: datetime | None
    zones: frozenset[int]
    kinds: frozenset[Kind]
    own: tuple[Heard, ...]
    others: tuple[Heard, ...]

    @property
    def met(self) -> Heard | None:
        """Return the event that proves the act; None where none has come."""
        return next((each for each in self.own if each.kind in self.kinds), None)


def in_order(heard: Iterable[Heard]) -> tuple[tuple[Heard, ...], tuple[Heard, ...]]:
    """Return the events each once, in the order they came in, and the repeats; in whatever order and however often they are given."""
    once: dict[str, Heard] = {}
    for each in heard:
        known = once.get(each.n)
        if known is None or _rank(each) < _rank(known):
            once[each.n] = each
    ordered = sorted(once.values(), key=lambda each: (each.at, each.n))
    return tuple(each for each in ordered if not each.repeat), tuple(each for each in ordered if each.repeat)


def _rank(event: Heard) -> tuple[str, ...]:
    # Two of one name should be one; where they are not, the same one stands whichever came first.
    return (str(event.repeat), event.at.isoformat(), str(event.kind), str(event.zone), str(event.restored), event.code, event.words)


def windows(job: Job, circuits: Sequence[CircuitForecast], walked: Iterable[Walked], events: Sequence[Heard]) -> tuple[Window, ...]:
    """Return the acts in the order they were done, each with the events that fall to it."""
    acts = sorted({each.id: each for each in walked}.values(), key=lambda each: (datetime.fromisoformat(each.at), each.id))
    acts = [each for each in acts if each.device in job.equipment]
    moments = [datetime.fromisoformat(each.at) for each in acts]
    zones = [frozenset(job.zones[name].number for name in zones_of(job, each.device)) for each in acts]
    taken: dict[int, list[Heard]] = {number: [] for number in range(len(acts))}
    for event in events:
        if event.zone is not None and event.kind in OF_A_ZONE and not event.restored:
            number = _owner(event, moments, zones, taken, [each.by for each in acts])
            if number is not None:
                taken[number].append(event)
    return tuple(
        Window(
            walked=each, begins=moments[at], ends=_next(acts, moments, at), zones=zones[at],
            kinds=kinds_of(job, circuits, each), own=tuple(one for one in taken[at] if one.zone in zones[at]),
            others=tuple(one for one in taken[at] if one.zone not in zones[at]),
        )
        for at, each in enumerate(acts)
    )  # fmt: skip


def _next(acts: Sequence[Walked], moments: Sequence[datetime], at: int) -> datetime | None:
    """Return when whoever did an act went on to the next; what somebody else does meanwhile ends nothing."""
    return next((moments[after] for after in range(at + 1, len(acts)) if acts[after].by == acts[at].by), None)


def _owner(
    event: Heard, moments: Sequence[datetime], zones: Sequence[frozenset[int]], taken: Mapping[int, Sequence[Heard]], by: Sequence[str]
) -> int | None:
    """Return the act an event falls to: the last one begun; or the one before, where it is of that one's zone and came a little late.

    Of two people who test at once it falls to whichever is at a device of its zone. Where the act before has led to another zone's event it
    is not late: the two may be exchanged.
    """
    begun = [number for number, moment in enumerate(moments) if moment <= event.at]
    if not begun or event.at - moments[begun[-1]] > timedelta(seconds=LONGEST_S):
        return None
    last = begun[-1]
    at_it = [number for number in {by[number]: number for number in begun}.values() if event.zone in zones[number]]
    if at_it and event.at - moments[max(at_it)] <= timedelta(seconds=LONGEST_S):
        return max(at_it)
    late = event.at - moments[last] <= timedelta(seconds=LATE_S)
    if late and last > 0 and event.zone not in zones[last] and event.zone in zones[last - 1]:
        if all(each.zone in zones[last - 1] for each in taken[last - 1]):
            return last - 1
    return last


def kinds_of(job: Job, circuits: Sequence[CircuitForecast], walked: Walked) -> frozenset[Kind]:
    """Return as what an act should be reported, by the forecast of the circuit; of an operated device what its zone is there for."""
    found: set[Kind] = set()
    for name in zones_of(job, walked.device):
        zone = job.zones[name]
        item = next((each for each in circuits if each.circuit == zone.circuit), None)
        act = next((a for a in item.acts if a.act.kind is ACTS[walked.act] and a.act.device == walked.device), None) if item else None
        if act is None:
            continue
        kinds = {of_reading(reads, job.circuits[zone.circuit or ""].topology, zone.part) for reads in act.meant}
        own = alarm_kind(job, zone)
        # A zone of lids alone, or of hold-up devices, tells everything as what it is there for.
        found |= {own if kind is Kind.ALARM else kind for kind in kinds if kind is not None}
        if own is Kind.TAMPER:
            found |= {Kind.TAMPER, Kind.ALARM}
    return frozenset(found) or frozenset({Kind.ALARM if walked.act == "operate" else Kind.TAMPER})


def shared_zones(job: Job) -> frozenset[int]:
    """Return the numbers of the zones behind which more than one device stands: their events do not say which it was."""
    counted: dict[str, int] = {}
    for name in job.equipment:
        for zone in zones_of(job, name):
            counted[zone] = counted.get(zone, 0) + 1
    return frozenset(job.zones[zone].number for zone, many in counted.items() if many > 1)
