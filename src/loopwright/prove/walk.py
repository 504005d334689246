"""The shortest walking order through the building, as far as the job knows it.

There is no plan of the building in the job. Rooms are taken as far apart as the least cable between what stands in them, which follows the
walls people walk along; storeys are walked one after the other. Between rooms no cable joins, the longest way of that storey is taken.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from loopwright.job.document import Job

MOST_EXACT = 11
"""Up to so many rooms on a storey every order is weighed; beyond that a good one is bettered by turning pieces round."""
Metres = NDArray[np.float64]


def walking_order(job: Job, devices: Sequence[str]) -> tuple[str, ...]:
    """Return the devices in the order of a short walk: it begins at the control unit's room, and what shares a room stays together."""
    rooms = {name: job.equipment[name].room or "" for name in devices}
    start = next((item.room or "" for name, item in job.equipment.items() if job.sheet_of(name).bus is not None), "")
    storeys = [list(storey.rooms) for storey in job.storeys.values()]
    known = {room for storey in storeys for room in storey}
    storeys.append(sorted({room for room in rooms.values() if room not in known}))
    at = next((number for number, storey in enumerate(storeys) if start in storey), 0)
    out: list[str] = []
    here = start
    for storey in (storeys[at], *storeys[:at], *storeys[at + 1 :]):
        wanted = [room for room in storey if room in rooms.values()]
        ordered = shortest_order(room_distances(job, [here, *wanted])) if wanted else ()
        for number in ordered[1:]:
            room = wanted[number - 1]
            out += [name for name in devices if rooms[name] == room]
            here = room
    return tuple(out)


def room_distances(job: Job, rooms: Sequence[str]) -> Metres:
    """Return the distances [m] between rooms, (rooms, rooms)."""
    places = {name: at for at, name in enumerate((*job.equipment, *job.joints))}
    runs = [run for run in job.cables.values() if run.start in places and run.end in places]
    ends = ([places[run.start] for run in runs], [places[run.end] for run in runs])
    lengths = [max(run.length_m, 1e-6) for run in runs]
    graph = coo_array((lengths, ends), shape=(len(places), len(places))).tocsr()
    ways = dijkstra(graph, directed=False)
    stands = [[places[name] for name in places if _room(job, name) == room] for room in rooms]
    out = np.full((len(rooms), len(rooms)), np.inf)
    for a, first in enumerate(stands):
        for b, second in enumerate(stands):
            if first and second:
                out[a, b] = ways[np.ix_(first, second)].min()
    finite = out[np.isfinite(out)]
    out[~np.isfinite(out)] = finite.max() if finite.size and finite.max() > 0 else 1.0
    np.fill_diagonal(out, 0.0)
    return out


def _room(job: Job, name: str) -> str:
    item = job.equipment.get(name) or job.joints[name]
    return item.room or ""


def length_m(distances: Metres, order: Sequence[int]) -> float:
    """Return the length [m] of a way through places in an order."""
    return float(sum(distances[a, b] for a, b in zip(order, order[1:], strict=False)))


def shortest_order(distances: Metres) -> tuple[int, ...]:
    """Return the order of the shortest way that begins at the first place, goes through all and ends anywhere.

    By every order's best ending (Held and Karp 1962) up to MOST_EXACT places; beyond, the nearest next, bettered by turning pieces round.
    """
    many = len(distances)
    return _exact(distances) if many <= MOST_EXACT + 1 else _bettered(distances, _nearest(distances))


def _exact(distances: Metres) -> tuple[int, ...]:
    many = len(distances) - 1
    if many < 1:
        return tuple(range(len(distances)))
    best = {(1 << at, at): (float(distances[0, at + 1]), -1) for at in range(many)}
    for been in range(1, 1 << many):
        for last in range(many):
            if (been, last) not in best:
                continue
            so_far = best[been, last][0]
            for after in range(many):
                if not been >> after & 1:
                    key, way = (been | 1 << after, after), so_far + float(distances[last + 1, after + 1])
                    if key not in best or way < best[key][0]:
                        best[key] = (way, last)
    been = (1 << many) - 1
    last = min(range(many), key=lambda each: best[been, each][0])
    order = []
    while last >= 0:
        order.append(last + 1)
        been, last = been ^ (1 << last), best[been, last][1]
    return (0, *reversed(order))


def _nearest(distances: Metres) -> list[int]:
    order, left = [0], set(range(1, len(distances)))
    while left:
        order.append(min(left, key=lambda each: (distances[order[-1], each], each)))
        left.remove(order[-1])
    return order


def _bettered(distances: Metres, order: list[int]) -> tuple[int, ...]:
    """Turn pieces of the way round as long as that shortens it (2-opt, Croes 1958)."""
    better = True
    while better:
        better = False
        for a in range(1, len(order) - 1):
            for b in range(a + 1, len(order)):
                turned = [*order[:a], *reversed(order[a : b + 1]), *order[b + 1 :]]
                if length_m(distances, turned) < length_m(distances, order) - 1e-9:
                    order, better = turned, True
    return tuple(order)
