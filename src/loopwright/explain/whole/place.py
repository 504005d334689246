"""The places of the whole where a fault can be, with what the document itself says of each.

Where nothing names one, a fault has the whole for its place: a detector of the premises, a zone of it, its radio devices.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from loopwright.explain.catalogue import faults
from loopwright.explain.circuit.check import label
from loopwright.explain.circuit.place import Spot
from loopwright.explain.expected.power import control_units
from loopwright.explain.whole.scope import Scope, sensing_devices
from loopwright.job.document import Job, YesNoUnknown
from loopwright.job.sheet import Kind

MOST_DEVICES = 3
"""Of more sensing devices than this on one circuit, the first is read for all."""
SENSING: Mapping[str, Kind | None] = {"detector": Kind.DETECTOR, "contact": Kind.CONTACT, "sensing": None}
"""The kinds of place that are sensing devices: of which kind of equipment, of either where none is named."""
LONG_SOUNDER_S = 900.0
"""Sounding longer than this [s] is against the law in many places, 15 minutes, in some 20 (Northumbria Police, security alarms)."""
SHORT_ENTRY_S, SHORT_EXIT_S = 30.0, 60.0
"""Entry and exit times below these [s] are below the defaults of ANSI/SIA CP-01."""
POOLED = {
    "detector": "a detector",
    "contact": "a contact",
    "sensing": "a detector or a contact",
    "zone": "a zone",
    "radio": "the radio devices",
}


class SystemPlaces:
    """Finds the places of the whole, and to which zones each belongs."""

    def __init__(self, job: Job, scope: Scope) -> None:
        self.job, self.scope = job, scope
        self.zones: dict[str, frozenset[str]] = {}
        self.devices: dict[tuple[str, str], tuple[tuple[str, str], ...]] = {}
        """By the kind of a place and the place, the devices it stands for: the circuit of each, and its name."""

    def spots(self, at: str) -> list[Spot]:
        """Return the places of a kind: site, unit, detector, contact, sensing, zone, path, radio."""
        if at == "site":
            return [_spot("", "the premises", self._site())]
        found = list(self._sensing(at) if at in SENSING else getattr(self, f"_{at}")())
        if not found and at in SENSING and self.scope.circuits:
            return []
        return found or [_spot("", f"{POOLED.get(at, 'a part')} of the premises", self._site())]

    def belongs(self, place: str, zone: str) -> bool:
        """Return whether what happens at a place can be seen of a zone; places of the whole belong to every zone."""
        return not place or not zone or zone in self.zones.get(place, frozenset((zone,)))

    def _sensing(self, at: str) -> Iterator[Spot]:
        """Return the devices of each circuit as one place: no zone, log or centre tells them apart, only a meter may."""
        for circuit in self.scope.circuits:
            devices = devices_at(self.job, at, circuit)
            if not devices:
                continue
            place = devices[0] if len(devices) == 1 else circuit
            self.devices[at, place] = tuple((circuit, device) for device in (devices if len(devices) <= MOST_DEVICES else devices[:1]))
            self.zones[place] = self.zones.get(place, frozenset()) | {n for n, zone in self.job.zones.items() if zone.circuit == circuit}
            named = " or ".join(label(self.job, device) for device in devices)
            what = f"{named}, circuit {circuit}" if len(devices) <= MOST_DEVICES else f"one of {len(devices)} on circuit {circuit}"
            yield _spot(place, what, set())

    def _zone(self) -> Iterator[Spot]:
        for name in self.scope.zones:
            zone = self.job.zones[name]
            self.zones[name] = frozenset((name,))
            facts = set() if zone.areas else {"no-area"}
            facts |= {"always-on"} if "24-hour" in zone.response.values() else set()
            facts |= {"left-out"} if set(zone.response.values()) == {"ignored"} else set()
            yield _spot(name, f"zone {zone.number}, {zone.text}", facts | self._site())

    def _unit(self) -> Iterator[Spot]:
        for name in control_units(self.job):
            old = self.job.equipment[name].default_codes_changed is YesNoUnknown.NO
            yield _spot(name, label(self.job, name), {"factory-codes"} if old else set())

    def _path(self) -> Iterator[Spot]:
        for name, path in self.job.signalling.paths.items():
            yield _spot(name, f"path {name} ({path.kind})", {f"kind:{path.kind.casefold()}"} | self._site())

    def _radio(self) -> Iterator[Spot]:
        for name in self.scope.radio:
            yield _spot(name, label(self.job, name), set())

    def _site(self) -> set[str]:
        """Return what the document says of the premises as a whole."""
        job = self.job
        kinds = {path.kind.casefold() for path in job.signalling.paths.values()}
        out = {"line-promised" if "line" in kinds else "no-line"}
        out |= {"one-path"} if len(kinds) == 1 else set()
        out |= {"no-test"} if job.signalling.reports.get("test") != "yes" else set()
        out |= {"not-all-reported"} if "no" in job.signalling.reports.values() else set()
        out |= {"long-sounder"} if (job.programme.sounder_s or 0.0) > LONG_SOUNDER_S else set()
        times = [(area.entry_s, area.exit_s) for area in job.areas.values()]
        out |= {"short-entry"} if any(entry is not None and entry < SHORT_ENTRY_S for entry, _ in times) else set()
        out |= {"short-exit"} if any(leave is not None and leave < SHORT_EXIT_S for _, leave in times) else set()
        return out


def devices_at(job: Job, at: str, circuit: str) -> tuple[str, ...]:
    """Return the devices of a circuit that are a kind of place."""
    kind = SENSING[at]
    return tuple(name for name in sensing_devices(job, circuit) if kind is None or job.sheet_of(name).kind is kind)


def place_of_look(job: Job, fault: str, place: str) -> str:
    """Return the place a look is of: a device's circuit where it hangs with others like it, as given in all other cases."""
    known = faults().get(fault)
    if known is None or known.at not in SENSING:
        return place
    return next((name for name in job.circuits if len(found := devices_at(job, known.at, name)) > 1 and place in found), place)


def _spot(place: str, words: str, facts: set[str]) -> Spot:
    return Spot(place=place, words=words, names={"place": place}, facts=frozenset(facts))
