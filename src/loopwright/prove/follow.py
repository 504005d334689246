"""Which device is being tested, inferred from the walking order where nobody says so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from loopwright.job.document import Job
from loopwright.prove.devices import contacts_in_use, zones_of
from loopwright.prove.heard import Heard
from loopwright.prove.kind import OF_A_ZONE
from loopwright.prove.record import Walked


def inferred(job: Job, order: Sequence[str], events: Sequence[Heard]) -> tuple[Walked, ...]:
    """Return an act for each zone's first event, as if the order were walked from its beginning.

    Where another zone reports than the one whose turn it is, the walk has gone on to that device, unless the next event is of the device
    after the one whose turn it was: then that one has reported by a wrong zone. What comes last of all is left open until another comes.
    """
    zone_of = {device: min(numbers) for device in order if (numbers := [job.zones[name].number for name in zones_of(job, device)])}
    places = {zone: at for at, zone in reversed(list(enumerate(zone_of.values())))}
    devices = list(zone_of)
    firsts = list({each.zone: each for each in reversed(events) if each.kind in OF_A_ZONE and not each.restored}.values())
    firsts.sort(key=lambda each: (each.at, each.n))
    operated = frozenset(device for device in devices if "alarm" in contacts_in_use(job, device))
    return tuple(_steps(devices, list(zone_of.values()), places, firsts, operated))


def _steps(devices: list[str], zones: list[int], places: Mapping[int, int], firsts: list[Heard], operated: frozenset[str]) -> list[Walked]:
    out: list[Walked] = []
    turn = 0
    astray: dict[int, int] = {}
    for number, event in enumerate(firsts):
        after = firsts[number + 1].zone if number + 1 < len(firsts) else None
        at = _device_at(zones, places, turn, event.zone or 0, after, astray) if turn < len(devices) else None
        if at is None:
            continue
        if event.zone != zones[at]:
            astray[at] = event.zone or 0
        act = "operate" if devices[at] in operated else "lid"
        out.append(Walked(id=f"inferred:{event.n}", at=event.at.isoformat(), by="", device=devices[at], act=act, sure=False))
        turn = at + 1
    return out


def _device_at(
    zones: list[int], places: Mapping[int, int], turn: int, zone: int, after: int | None, astray: Mapping[int, int]
) -> int | None:
    """Return which place of the order an event is of, ``turn`` being the next; None where that is left open.

    ``astray`` holds the places that have reported by a zone of another one.
    """
    place = places.get(zone)
    if zone == zones[turn]:
        return turn
    follows = [zones[turn + 1]] if turn + 1 < len(zones) else []
    # Two neighbours on the way that have been exchanged report one another's zone.
    follows += [zones[turn]] if place == turn + 1 else []
    if after in follows:
        return turn
    if place is None:
        return None
    if place < turn:
        other = places.get(astray.get(place, 0))
        return other if other is not None and other >= turn else None
    return place if after is not None else None
